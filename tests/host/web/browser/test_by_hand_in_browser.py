"""Whole jobs by fingers alone, without a rig."""

from io import BytesIO

import pypdf
import pytest
from playwright.sync_api import Page, expect

from host.web.app import create_app
from host.web.server import PageServer

pytestmark = [pytest.mark.slow, pytest.mark.browser]

# Any sender does here; the last reading is a slip of the hand.
READINGS = (("20", "2506"), ("60", "604"), ("80", "OOPS"))


@pytest.fixture
def untouched(tmp_path, desk):
    """A desk at which nobody has begun anything, served on loopback."""
    server = PageServer(create_app(desk), port=0)
    server.start()
    yield server
    server.stop()


@pytest.mark.parametrize("size", ["phone", "tablet", "desk"])
def test_from_the_first_page_to_a_certificate_by_hand(untouched, devices, size):
    here = devices(untouched.url, size, accept_downloads=True)
    page = here.open("")
    page.get_by_role("link", name="Type the first readings").click()
    for row, (temperature, resistance) in enumerate(READINGS, start=1):
        page.get_by_label(f"Temperature {row}", exact=True).fill(temperature)
        page.get_by_label(f"Resistance {row}", exact=True).fill(resistance)
    page.get_by_label("What is checked").fill("sender from the red wagon")
    page.get_by_label("Curve it is meant to follow").select_option("ntc-310-80c")
    here.wrong.clear()
    page.get_by_role("button", name="Judge it and issue the certificate").click()
    # A slip is said beside the cell, and everything else is still there.
    wrong = page.get_by_label("Resistance 3", exact=True)
    expect(wrong).to_have_attribute("aria-invalid", "true")
    expect(page.get_by_label("Resistance 1", exact=True)).to_have_value("2506")
    here.wrong.clear()  # the browser's own word for an answer of 422
    wrong.fill("336")
    page.get_by_role("button", name="Judge it and issue the certificate").click()
    expect(page.locator(".overall")).to_contain_text("Out of tolerance")
    link = page.get_by_role("link", name="Open the certificate").get_attribute("href")
    paper = here.context.request.get(untouched.url + link.lstrip("/"))
    text = "\n".join(sheet.extract_text() for sheet in pypdf.PdfReader(BytesIO(paper.body())).pages)
    assert "sender from the red wagon" in text
    page.reload()
    expect(page.locator(".overall")).to_contain_text("Out of tolerance")


def typed_in(page: Page, **fields: str) -> None:
    for name, text in fields.items():
        page.fill(f"#{name}", text)


@pytest.mark.parametrize("size", ["phone", "tablet", "desk"])
def test_an_infrared_thermometer_is_checked_by_hand_from_its_entry_to_the_register(
    visit, finished_desk, size
):
    """The whole job by fingers alone: set up, shots at three temperatures, one left out, paper, register."""
    here = visit(size, color_scheme="dark" if size == "tablet" else "light")
    page = here.open("infrared")
    typed_in(page, item="Infrared thermometer, tag 12")
    page.select_option("#thermometer", "entered")
    page.click("text=Enter one that is not in the register")
    typed_in(page, serial="I-12", accuracy_k="2", distance_to_spot="12")
    page.select_option("#reference", "entered")
    page.click("text=Enter a contact thermometer")
    typed_in(page, reference_serial="T-2", reference_u_k="0.3", set_points="50 70 90", distance_mm="900")
    page.click("text=Start the check")
    expect(page.locator("#distance_mm-wrong")).to_contain_text("needs a target of 150 mm")
    here.wrong.clear()  # the browser's own word for a form that was sent back (422)
    typed_in(page, distance_mm="300")
    page.click("text=Start the check")
    buttons = ("It lay here that long", "Wiped, and out", "It says 0.95", "Measured")
    for step, button in enumerate(buttons, start=1):
        expect(page.locator(".step")).to_contain_text(f"Step {step} of")
        here.look_at(page)
        page.click(f"button:has-text('{button}')")
    taken = 0
    shown_at = {
        "50": ("50.4", "50.5", "50.3"),
        "70": ("70.4", "70.5", "70.3"),
        "90": ("90.6", "90.5", "90.7", "90.6", "71.0"),
    }
    for done, (point, shots) in enumerate(shown_at.items(), start=1):
        for shown in shots:
            taken += 1
            typed_in(page, reference=point, shown=shown)
            page.click("button.thumb")
            expect(page.locator(".list li")).to_have_count(taken)
        if len(shots) > 3:
            expect(page.locator(".instruction")).to_contain_text("Does it count?")
            here.look_at(page)
            typed_in(page, reason="the spot slipped off the plate")
            page.click("button.press:has-text('Leave it out')")
        page.click("button:has-text('Go on to the next')")
        expect(page.locator(".caught .read")).to_have_count(done)
    page.click("button:has-text('Judge it and issue the certificate')")
    expect(page.locator(".sentence")).to_contain_text("thermometer")
    here.look_at(page)
    expect(page.locator(".numbers th", has_text="verdict")).to_be_visible()
    assert page.locator(".numbers .wide").first.evaluate("table => table.scrollWidth <= table.clientWidth")
    page.click("button:has-text('Put its corrections into the register')")
    expect(page.locator(".next")).to_contain_text("are in the register")
    entry = finished_desk.store.register.standing("infrared", "I-12").in_force
    assert len(entry.content["point"]) == 3
