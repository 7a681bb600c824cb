"""A round by fingers alone, on screens of three sizes, and on paper."""

from io import BytesIO

import pypdf
import pytest
from playwright.sync_api import expect

from calibration.station_round import StatedValue
from host.procedures.rounds.station_round import Source
from host.procedures.rounds.station_round_runs import NewResult, StationRounds
from host.procedures.rounds.station_round_settings import Quantity, StationRoundSettings
from host.web.app import create_app
from host.web.server import PageServer

pytestmark = [pytest.mark.slow, pytest.mark.browser]

SENDER = "Sender of the room, tag 300"
ERRORS_K = (0.12, 0.05, 0.09, 0.41, 0.02, 0.16)


@pytest.fixture(scope="module")
def room(tmp_path_factory, small_desk):
    """A desk with six stations on loopback: round 1 is closed, 2 lacks a result and 3 all of them."""
    desk = small_desk(tmp_path_factory.mktemp("room"))
    stations = tuple(f"bench-{number}" for number in range(1, 7))
    for name in stations:
        desk.store.stations.add(name)
        desk.live.add_station(name)
    given = StationRoundSettings(
        artefact=SENDER,
        quantity=Quantity.ERROR,
        at=60.0,
        curve="ntc-310-80c",
        reference=StatedValue(value=0.10, expanded_u=0.06),
        reference_words="certificate K 77 of an invented laboratory",
        stations=stations,
    )
    rounds, zone = StationRounds(desk.store), desk.store.settings.read().zone
    for count in (6, 5, 0):
        run = rounds.start(given)
        for name, value in list(zip(stations, ERRORS_K, strict=True))[:count]:
            stated = StatedValue(value=value, expanded_u=0.12)
            result = NewResult(station=name, stated=stated, source=Source.TYPED, words="typed by hand")
            rounds.take(run, result, zone=zone)
    rounds.close(1, shop=desk.store.settings.read().shop, zone=zone)
    server = PageServer(create_app(desk), port=0)
    server.start()
    yield server
    server.stop()
    desk.close()


@pytest.mark.parametrize("size", ["phone", "tablet", "desk"])
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_rounds_fit_every_screen(room, devices, size, theme):
    here = devices(room.url, size, color_scheme=theme)
    page = here.page()
    for path in ("rounds", "rounds/1", "rounds/2", "rounds/3", "rounds/2?scale=f"):
        page.goto(room.url + path)
        expect(page.locator("h1")).to_be_visible()
        here.assert_fits(page)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_rounds_keep_no_reader_out(room, devices, theme):
    here = devices(room.url, "phone", color_scheme=theme)
    page = here.page()
    found = []
    for path in ("rounds", "rounds/1", "rounds/2"):
        page.goto(room.url + path)
        found += here.barriers(page)
    assert found == []


def test_the_whole_table_of_a_round_is_seen_on_a_phone_without_scrolling(room, devices):
    page = devices(room.url, "phone").open("rounds/1")
    verdict = page.get_by_text("does not agree").locator("visible=true").last
    expect(verdict).to_be_visible()
    box = verdict.bounding_box()
    assert box["x"] + box["width"] <= 390.0


def test_a_round_prints_on_one_sheet(room, devices):
    page = devices(room.url, "desk").open("rounds/1")
    printed = pypdf.PdfReader(BytesIO(page.pdf(format="A4", prefer_css_page_size=True)))
    assert len(printed.pages) == 1
    text = " ".join(printed.pages[0].extract_text().split())
    for words in ("bench-4 reads 0.31 K", "Look at bench-4", "does not agree", "bench-6"):
        assert words in text
    assert "Another round" not in text


def test_a_round_from_its_first_field_to_its_certificate_on_a_phone(room, devices):
    here = devices(room.url, "phone", expected=("422",))
    page = here.open("")
    page.get_by_role("link", name="Rounds").click()
    page.get_by_label("What goes round").fill("Resistor of 1 kΩ")
    page.get_by_label("What is compared").select_option("resistance")
    page.get_by_label("At which temperature, or which resistance").fill("1k")
    for name in ("bench-2", "bench-3", "bench-4", "bench-5", "bench-6"):
        page.get_by_label(name).uncheck()
    page.get_by_label("Others, with commas between").fill("The shop across the yard")
    page.get_by_label("Where it comes from").select_option("typed")
    page.get_by_text("Type it here").click()
    page.get_by_label("Value", exact=True).fill("1000.2")
    page.get_by_label("U, in K or Ω").fill("0.2")
    page.get_by_label("Its source").fill("certificate K 78 of an invented laboratory")
    page.get_by_role("button", name="Begin the round").click()
    expect(page.locator(".instruction")).to_contain_text("2 of 2 stations are missing")
    for station, ohms in (("bench-1", "1000.4"), ("the shop across the yard", "1004.1")):
        page.get_by_label("Station", exact=True).fill(station)
        page.get_by_label("Resistance, Ω").fill(ohms)
        page.get_by_role("button", name="Take it").click()
        # nothing is taken without its uncertainty, and what was typed is still there
        expect(page.get_by_label("U, Ω")).to_have_attribute("aria-invalid", "true")
        expect(page.get_by_label("Resistance, Ω")).to_have_value(ohms)
        page.get_by_label("U, Ω").fill("0.5")
        page.get_by_role("button", name="Take it").click()
        expect(page.get_by_label("Resistance, Ω")).to_have_value("")
    expect(page.locator(".instruction")).to_contain_text("Every station is in.")
    expect(page.locator(".sentence")).to_contain_text("The shop across the yard reads 3.90 Ω high")
    page.get_by_role("button", name="Close it and issue the certificate").click()
    expect(page.locator(".next")).to_contain_text("Look at The shop across the yard first")
    link = page.get_by_role("link", name="Open the certificate").get_attribute("href")
    paper = here.context.request.get(room.url + link.lstrip("/"))
    text = " ".join(pypdf.PdfReader(BytesIO(paper.body())).pages[0].extract_text().split())
    assert "1 of 2 stations does not agree with the reference" in text
    here.look_at(page)
