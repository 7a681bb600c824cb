"""Every page in a browser: it fits its screen, keeps no reader out, and prints."""

from io import BytesIO

import pypdf
import pytest
from playwright.sync_api import expect

from host.procedures.sender.sender_check_start import SenderCheckWish

pytestmark = [pytest.mark.slow, pytest.mark.browser]

EVERY_PAGE = (
    *("", "wall", "stations/bench-1", "runs", "runs/1", "runs/2", "runs/3", "certificates"),
    *("begin", "settings", "help", "help/runs", "typed", "on-the-vehicle"),
    *("people", "audit", "sign-in", "you"),
    "infrared",
    "probe-check",
    "witness-check",
    "verify",
    *("settings/logo", "runs/1/photo"),
)
REGISTER_AND_CURVES = (
    "register",
    "register/1",
    "register/2",
    "register/add?kind=infrared",
    "register/add",
    "curves",
    "curves/ntc-310-80c",
    "curves/add",
    "curves/compare?first=ntc-2k5-20c&second=ntc-310-80c",
    "curves/find-out?points=20+2450%0A80+318&in=c",
)


@pytest.mark.parametrize("size", ["phone", "tablet", "desk"])
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_every_page_fits_its_screen_and_asks_nobody_but_the_desk(visit, size, theme):
    here = visit(size, color_scheme=theme)
    page = here.page()
    for path in EVERY_PAGE:
        page.goto(here.url + path)
        expect(page.locator("h1")).to_be_visible()
        here.assert_fits(page)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_no_page_has_anything_that_keeps_a_reader_out(visit, theme):
    here = visit("phone", color_scheme=theme)
    page = here.page()
    found = []
    for path in (*EVERY_PAGE, *REGISTER_AND_CURVES):
        page.goto(here.url + path)
        found += here.barriers(page)
    assert found == []


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_old_values_of_a_station_that_is_gone_can_still_be_read(visit, finished_desk, theme):
    bench = finished_desk.benches["bench-1"]
    bench.say(boot=bench.boot, state="gone", connect=9)
    here = visit("phone", color_scheme=theme)
    page = here.page()
    for path in ("", "wall", "stations/bench-1", "runs/3"):
        page.goto(here.url + path)
        expect(page.locator(".old").first).to_be_visible()
        assert here.barriers(page) == []


@pytest.mark.parametrize("size", ["phone", "tablet", "desk"])
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_register_and_curves_fit_every_screen_and_theme(visit, size, theme):
    here = visit(size, color_scheme=theme)
    page = here.page()
    for path in REGISTER_AND_CURVES:
        page.goto(here.url + path)
        expect(page.locator("h1")).to_be_visible()
        here.assert_fits(page)


def test_error_u_limit_and_verdict_of_a_certificate_are_all_in_sight_on_a_phone(visit):
    page = visit("phone").open("certificates/000001")
    expect(page.locator(".wide th", has_text="verdict")).to_be_visible()
    assert page.evaluate(
        "[...document.querySelectorAll('.wide')].every((t) => t.scrollWidth <= t.clientWidth)"
    )
    shown = [head.inner_text() for head in page.locator(".wide").first.locator("th:visible").all()]
    assert {"error K", "U K", "limit K", "verdict"} <= set(shown)


def test_a_result_prints_on_one_sheet(visit):
    page = visit().open("runs/1")
    printed = pypdf.PdfReader(BytesIO(page.pdf(format="A4", prefer_css_page_size=True)))
    assert len(printed.pages) == 1
    text = printed.pages[0].extract_text()
    for words in ("Simulated bench", "sender shows", "Limit K", "What next"):
        assert words in text
    assert "Open the certificate" not in text


CONTRAST = """(selector) => {
  const channels = (colour) => colour.match(/[0-9.]+/g).slice(0, 3).map(Number);
  const light = (colour) => {
    const [r, g, b] = channels(colour).map((c) => c / 255)
      .map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const element = document.querySelector(selector);
  let behind = element;
  const ground = (one) => getComputedStyle(one).backgroundColor;
  while (ground(behind).endsWith(', 0)') && behind.parentElement) behind = behind.parentElement;
  const pair = [light(getComputedStyle(element).color), light(ground(behind))].sort((a, b) => b - a);
  return (pair[0] + 0.05) / (pair[1] + 0.05);
}"""


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_instructions_stand_out_seven_to_one_and_the_button_fits_a_thumb(visit, theme):
    # Contrast as WCAG 2.2 defines it; 7:1 is its success criterion 1.4.6.
    page = visit(color_scheme=theme).open("runs/3")
    for selector in (".instruction", ".caution", ".step", ".thumb", ".caught .to-come", ".simulated"):
        assert page.evaluate(CONTRAST, selector) >= 7.0, selector
    box = page.locator(".thumb").bounding_box()
    assert box["height"] >= 64 and box["width"] >= 200
    assert box["y"] + box["height"] <= 844, "the button is below the fold of a phone"
    sizes = page.evaluate(
        "[...document.querySelectorAll('body *')].filter((e) => e.offsetParent && e.children.length === 0)"
        ".map((e) => parseFloat(getComputedStyle(e).fontSize))"
    )
    largest = page.evaluate("parseFloat(getComputedStyle(document.querySelector('.instruction')).fontSize)")
    assert largest == max(sizes)


def test_a_second_result_with_both_checks_and_a_reason_prints_on_one_sheet_too(visit, finished_desk):
    bench = finished_desk.benches["bench-1"]
    finished_desk.runs.stop_run(3, "enough")
    bench.series_ohm = 24.0  # cleaned in vain
    bench.bath_c = 22.0
    wish = SenderCheckWish(
        station="bench-1",
        item="Sender <7> & its lead",
        curve="ntc-310-80c",
        set_points_c=(30.0, 60.0, 85.0),
        customer="Mrs A. Fennimore",
        as_left_of=1,
        done="terminals cleaned and dried",
        move_connector=True,
    )
    run = finished_desk.runs.start_check(wish)
    finished_desk.let_hands_finish(run, bench=bench)
    page = visit().open(f"runs/{run}")
    printed = pypdf.PdfReader(BytesIO(page.pdf(format="A4", prefer_css_page_size=True)))
    assert len(printed.pages) == 1
    text = printed.pages[0].extract_text()
    for words in ("As found and as left", "What next", "In the vehicle", "Limit K"):
        assert words in text
