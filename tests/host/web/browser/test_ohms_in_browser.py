"""The ohms of a station, and a meter on a decade box, by fingers alone; every page of it looked at."""

import time

import pytest
from playwright.sync_api import expect

from host.web.app import create_app
from host.web.server import PageServer

pytestmark = [pytest.mark.slow, pytest.mark.browser]

ENDS_WITHIN_S = 60.0


@pytest.fixture
def shop(desk, bench):
    """A desk with one simulated bench and its box in the register, served on loopback."""
    server = PageServer(create_app(desk), port=0)
    server.start()
    yield desk, bench, server.url
    server.stop()


@pytest.mark.parametrize(("size", "theme"), [("phone", "dark"), ("desk", "light")])
def test_from_the_station_to_the_certificate_of_its_ohms(shop, devices, size, theme):
    desk, bench, url = shop
    here = devices(url, size, color_scheme=theme)
    page = here.open("stations/bench-1")
    page.get_by_role("link", name="Only check the ohms, or see how they drift").click()
    here.look_at(page)
    page.get_by_role("button", name="Check the ohms now").click()
    expect(page.locator(".instruction")).to_contain_text("Let the rig be on for ten minutes")
    page.get_by_role("button", name="It is warm").click()
    expect(page.locator(".waiting")).to_contain_text("of 21 settings read")
    here.look_at(page)
    end_s = time.monotonic() + ENDS_WITHIN_S
    while not desk.runs.view(1).state.is_over:  # what its thread does at a real desk
        desk.lead()
        bench.read(20)
        assert time.monotonic() < end_s, "The check did not end."
    page.reload()
    expect(page.locator(".overall")).to_contain_text("In tolerance")
    for folded in page.locator("details.budget").all():
        folded.evaluate("one => { one.open = true }")
    here.look_at(page)
    page.get_by_role("button", name="Certificate of the channel").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("000001")
    page = here.open("stations/bench-1/ohms")
    expect(page.locator("main")).to_contain_text("Sender channel, 750 Ω range")
    here.look_at(page)
    assert here.wrong == []


@pytest.mark.parametrize(("size", "theme"), [("phone", "light"), ("desk", "dark")])
def test_a_meter_is_read_on_the_box_and_entered_in_the_register(shop, devices, size, theme):
    _, _, url = shop
    here = devices(url, size, color_scheme=theme)
    page = here.open("meter-check")
    here.look_at(page)
    page.get_by_label("Its serial, or the name it goes by").fill("M-1")
    page.get_by_label("Shown with the leads joined, Ω").fill("0.12")
    page.get_by_label("What was dialled and what was shown, Ω").fill("100 100.5\n1000 1000,5\n2000 2001.5")
    page.get_by_label("Limit of the error: ± % of the value").fill("0.2")
    page.get_by_role("button", name="Work it out and issue the certificate").click()
    expect(page.locator("#rows-wrong")).to_contain_text("Line 2: write decimals with a point")
    here.look_at(page)
    here.wrong.clear()  # the browser's own word for a form that was sent back (422)
    page.get_by_label("What was dialled and what was shown, Ω").fill("100 100.5\n1000 1000.5\n2000 2001.5")
    page.get_by_role("button", name="Work it out and issue the certificate").click()
    expect(page.locator(".sentence")).to_contain_text("this resistance meter reads")
    here.look_at(page)
    page.get_by_role("button", name="Enter it in the register").click()
    expect(page.locator("main")).to_contain_text("Certified correction, Ω, at 1000")
    here.look_at(page)
    assert here.wrong == []
