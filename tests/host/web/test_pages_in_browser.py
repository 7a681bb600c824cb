import json
import shutil
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from io import BytesIO

import pypdf
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from host.procedures.sender_check_start import SenderCheckWish
from host.web.app import create_app
from host.web.server import PageServer

pytestmark = [pytest.mark.slow, pytest.mark.browser]

CHROMIUM = shutil.which("chromium")
SIZES = {"phone": (390, 844), "tablet": (820, 1180), "desk": (1366, 768)}
EVERY_PAGE = (
    *("", "stations/bench-1", "runs", "runs/1", "runs/2", "runs/3", "certificates"),
    *("begin", "settings", "help", "help/runs", "typed", "on-the-vehicle"),
    *("people", "audit", "sign-in", "you"),
    "infrared",
    "probe-check",
    "witness-check",
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
ROOT = "document.documentElement"
# What a browser tells a page when the screen goes dark and when it comes back.
ASLEEP = """(asleep) => {
  Object.defineProperty(document, "hidden", { configurable: true, get: () => asleep });
  Object.defineProperty(document, "visibilityState",
    { configurable: true, get: () => (asleep ? "hidden" : "visible") });
  document.dispatchEvent(new Event("visibilitychange"));
}"""


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    if CHROMIUM is None:
        pytest.skip("Debian's chromium is not installed: apt install chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@dataclass
class Visit:
    """A browser at a desk, and everything that was wrong on the way."""

    context: BrowserContext
    url: str
    wrong: list[str] = field(default_factory=list)

    def page(self) -> Page:
        page = self.context.new_page()
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.wrong.append(f"script: {error}"))
        page.on("request", self._request)
        return page

    def open(self, path: str) -> Page:
        page = self.page()
        page.goto(self.url + path.lstrip("/"))
        return page

    def _console(self, message) -> None:
        if message.type in ("error", "warning"):
            self.wrong.append(f"console: {message.text}")

    def _request(self, request) -> None:
        if not request.url.startswith(self.url):
            self.wrong.append(f"left the desk: {request.url}")


@pytest.fixture
def served(finished_desk) -> Iterator[PageServer]:
    """A desk with a result (run 1), a stopped run (2) and an open one (3), served on loopback."""
    bench = finished_desk.benches["bench-1"]
    bench.boot = "00000002-0000abcd"
    bench.say(boot=bench.boot)
    bench.read(400)
    finished_desk.runs.stop_run(start(finished_desk), "The jug leaks.")
    start(finished_desk)
    server = PageServer(create_app(finished_desk), port=0)
    server.start()
    yield server
    server.stop()


@pytest.fixture
def visit(chromium: Browser, served: PageServer):
    made: list[Visit] = []

    def begin(size: str = "phone", **options) -> Visit:
        width, height = SIZES[size]
        context = chromium.new_context(viewport={"width": width, "height": height}, **options)
        context.set_default_timeout(15_000)
        made.append(Visit(context=context, url=served.url))
        return made[-1]

    yield begin
    for one in made:
        one.context.close()
        assert one.wrong == []


def until(page: Page, is_so: str) -> None:
    """Wait for an expression to be true; asked over the debugger, as the page's policy forbids eval."""
    end_s = time.monotonic() + 15.0
    while not page.evaluate(is_so):
        assert time.monotonic() < end_s, f"It was never so: {is_so}"
        page.wait_for_timeout(50)


def start(desk) -> int:
    wish = SenderCheckWish(
        station="bench-1",
        item="Sender, tag 8",
        curve="ntc-310-80c",
        set_points_c=(30.0, 60.0, 85.0),
        anew=True,
        set_up=(),
    )
    return desk.runs.start_check(wish)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_every_page_fits_its_screen_and_asks_nobody_but_the_desk(visit, size, theme):
    here = visit(size, color_scheme=theme)
    page = here.page()
    for path in EVERY_PAGE:
        page.goto(here.url + path)
        expect(page.locator("h1")).to_be_visible()
        too_wide = page.evaluate(f"{ROOT}.scrollWidth - {ROOT}.clientWidth")
        assert too_wide <= 0, f"/{path} is {too_wide} px wider than the {size}"


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_no_page_has_anything_that_keeps_a_reader_out(visit, theme):
    """By the rules of axe-core (WCAG 2 at A and AA among them)."""
    here = visit("phone", color_scheme=theme)
    page = here.page()
    axe = Axe()
    found = []
    for path in (*EVERY_PAGE, *REGISTER_AND_CURVES):
        page.goto(here.url + path)
        for one in axe.run(page).response["violations"]:
            found.append((path, one["id"], [node["html"][:120] for node in one["nodes"]][:3]))
    assert found == []


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_register_and_curves_fit_every_screen_and_theme(visit, size, theme):
    here = visit(size, color_scheme=theme)
    page = here.page()
    for path in REGISTER_AND_CURVES:
        page.goto(here.url + path)
        expect(page.locator("h1")).to_be_visible()
        too_wide = page.evaluate(f"{ROOT}.scrollWidth - {ROOT}.clientWidth")
        assert too_wide <= 0, f"/{path} is {too_wide} px wider than the {size}"


def test_live_values_move_without_a_reload(visit, finished_desk):
    bench = finished_desk.benches["bench-1"]
    page = visit().open("stations/bench-1")
    page.evaluate("window.sameLife = true")
    shown = "parseFloat(document.querySelector('.values div:nth-child(2) b').textContent)"
    assert page.evaluate(shown) < 40.0
    bench.bath_c = 41.0
    bench.read(1)
    until(page, f"Math.abs({shown} - 41.0) < 0.03")
    assert page.evaluate("window.sameLife") is True


def test_the_strip_chart_is_drawn_from_the_ring_and_goes_on(visit, finished_desk):
    page = visit("desk").open("stations/bench-1")
    inked = """() => {
      const { width, height } = document.querySelector('canvas');
      const pen = new OffscreenCanvas(width, height).getContext('2d', { willReadFrequently: true });
      pen.drawImage(document.querySelector('canvas'), 0, 0);
      const data = pen.getImageData(0, 0, width, height).data;
      let count = 0;
      for (let at = 3; at < data.length; at += 4) count += data[at] > 128 ? 1 : 0;
      return count;
    }"""
    until(page, f"({inked})() > 1500")
    expect(page.locator("canvas")).not_to_have_class("empty")


def test_the_picture_of_the_way_goes_on_without_a_reload(visit, finished_desk):
    bench = finished_desk.benches["bench-1"]
    finished_desk.lead_until_phase(3, "plateaus", bench=bench)
    bench.heater_c = 40.0
    bench.read(100)
    page = visit().open("runs/3")
    page.evaluate("window.sameLife = true")
    expect(page.locator(".course-chart svg")).to_be_visible()
    said = page.locator(".course .aside").inner_text()
    bench.read(200)
    until(page, f"document.querySelector('.course .aside').innerText !== {json.dumps(said)}")
    assert page.evaluate("window.sameLife") is True


def test_the_card_moves_on_by_itself_when_the_run_does(visit, finished_desk):
    page = visit().open("runs/3")
    page.evaluate("window.sameLife = true")
    expect(page.locator(".step")).to_have_text("Step 1 of 6")
    finished_desk.runs.press(3)
    expect(page.locator(".step")).to_have_text("Step 2 of 6")
    expect(page.locator(".instruction")).to_contain_text("checking its own ohms")
    expect(page.locator("[data-said]")).to_contain_text("checking its own ohms")
    assert page.evaluate("window.sameLife") is True


def test_a_press_of_the_one_button_advances_the_run(visit, finished_desk):
    page = visit().open("runs/3")
    page.get_by_role("button", name="It hangs there").click()
    expect(page.locator(".step")).to_have_text("Step 2 of 6")
    assert finished_desk.runs.view(3).card.step == 2


def test_two_phones_and_a_reload_show_the_same_place(visit, finished_desk):
    one, other = visit().open("runs/3"), visit().open("runs/3")
    one.get_by_role("button", name="It hangs there").click()
    for page in (one, other):
        expect(page.locator(".step")).to_have_text("Step 2 of 6")
    other.reload()
    expect(other.locator(".step")).to_have_text("Step 2 of 6")


def test_stopping_asks_twice_and_then_says_why_and_what_next(visit):
    page = visit().open("runs/3")
    for_good = page.get_by_role("button", name="Stop run 0003 for good")
    expect(for_good).not_to_be_visible()
    page.get_by_text("Stop this run").click()
    page.get_by_label("Why").fill("The clip came off.")
    for_good.click()
    expect(page.locator(".instruction")).to_have_text("The clip came off.")
    expect(page.get_by_role("heading", name="What next")).to_be_visible()


def test_a_page_that_is_open_turns_into_the_end_of_its_run(visit, finished_desk):
    page = visit().open("runs/3")
    finished_desk.runs.stop_run(3, "Stopped from another phone.")
    expect(page.locator(".instruction")).to_have_text("Stopped from another phone.")


def test_a_check_is_started_from_the_form_with_the_thumb_alone(visit, finished_desk):
    finished_desk.runs.stop_run(3, "enough")
    page = visit().open("stations/bench-1")
    page.get_by_label("What is checked").fill("Sender, tag 9")
    page.get_by_role("button", name="Start the check").click()
    page.wait_for_url("**/runs/4")
    expect(page.locator(".step")).to_have_text("Step 1 of 9")  # run 1's ohms check serves


def test_without_script_the_run_goes_on_all_the_same(visit, finished_desk):
    page = visit(java_script_enabled=False).open("runs/3")
    page.get_by_role("button", name="It hangs there").click()
    expect(page.locator(".step")).to_have_text("Step 2 of 6")
    assert finished_desk.runs.view(3).card.step == 2


def test_a_page_says_when_the_desk_is_gone_and_takes_up_again(visit, finished_desk, served):
    here = visit()
    page = here.open("stations/bench-1")
    until(page, "document.querySelector('canvas').width > 0")
    served.stop()
    expect(page.locator("[data-cut]")).to_contain_text("No word from the desk since", timeout=20_000)
    again = PageServer(create_app(finished_desk), port=served.port)
    again.start()
    try:
        expect(page.locator("[data-cut]")).to_be_hidden(timeout=20_000)
    finally:
        again.stop()
    # Chromium writes a refused connection to the console; that one was asked for.
    here.wrong[:] = [words for words in here.wrong if "net::ERR_" not in words]


def test_a_phone_that_lost_its_network_shows_the_place_once_it_is_back(visit, finished_desk):
    here = visit()
    page = here.open("runs/3")
    page.evaluate("window.sameLife = true")
    expect(page.locator(".step")).to_have_text("Step 1 of 6")
    here.context.set_offline(True)
    page.evaluate(ASLEEP, True)  # a screen that goes dark closes its stream
    finished_desk.runs.press(3)
    page.evaluate(ASLEEP, False)
    expect(page.locator("[data-cut]")).to_contain_text("No word from the desk", timeout=20_000)
    expect(page.locator(".step")).to_have_text("Step 1 of 6")
    here.context.set_offline(False)
    expect(page.locator(".step")).to_have_text("Step 2 of 6", timeout=20_000)
    expect(page.locator("[data-cut]")).to_be_hidden(timeout=20_000)
    assert page.evaluate("window.sameLife") is True
    here.wrong[:] = [words for words in here.wrong if "net::ERR_" not in words]


def test_a_phone_that_slept_takes_up_where_the_run_is(visit, finished_desk):
    page = visit().open("runs/3")
    page.evaluate("window.sameLife = true")
    page.evaluate(ASLEEP, True)
    finished_desk.runs.press(3)
    page.wait_for_timeout(1_500)
    expect(page.locator(".step")).to_have_text("Step 1 of 6")  # asleep, it asks for nothing
    page.evaluate(ASLEEP, False)
    expect(page.locator(".step")).to_have_text("Step 2 of 6")
    assert page.evaluate("window.sameLife") is True


def test_a_rig_in_a_hurry_does_not_drown_the_phone(visit, finished_desk):
    bench = finished_desk.benches["bench-1"]
    page = visit().open("stations/bench-1")
    page.evaluate(
        """() => {
          window.changes = 0;
          new MutationObserver((all) => (window.changes += all.length)).observe(
            document.querySelector('[data-live]'), { childList: true });
        }"""
    )
    stopping = threading.Event()

    def hurry() -> None:
        while not stopping.wait(0.01):
            bench.bath_c += 0.003
            bench.read(4)

    hurrying = threading.Thread(target=hurry)
    hurrying.start()
    try:
        until(page, "window.changes > 3")
        begun = page.evaluate("[window.changes, performance.now()]")
        until(page, f"performance.now() > {begun[1]} + 2000")
        ended = page.evaluate("[window.changes, performance.now()]")
    finally:
        stopping.set()
        hurrying.join()
    assert (ended[0] - begun[0]) / ((ended[1] - begun[1]) / 1000.0) <= 6.0


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


# Any sender does here; the last reading is a slip of the hand.
READINGS = (("20", "2506"), ("60", "604"), ("80", "OOPS"))


@pytest.fixture
def untouched(tmp_path, desk):
    """A desk at which nobody has begun anything, served on loopback."""
    server = PageServer(create_app(desk), port=0)
    server.start()
    yield server
    server.stop()


@pytest.mark.parametrize("size", SIZES)
def test_from_the_first_page_to_a_certificate_by_hand(chromium, untouched, size):
    width, height = SIZES[size]
    context = chromium.new_context(viewport={"width": width, "height": height}, accept_downloads=True)
    here = Visit(context=context, url=untouched.url)
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
    paper = context.request.get(untouched.url + link.lstrip("/"))
    text = "\n".join(sheet.extract_text() for sheet in pypdf.PdfReader(BytesIO(paper.body())).pages)
    assert "sender from the red wagon" in text
    page.reload()
    expect(page.locator(".overall")).to_contain_text("Out of tolerance")
    assert here.wrong == []
    context.close()


def typed_in(page: Page, **fields: str) -> None:
    for name, text in fields.items():
        page.fill(f"#{name}", text)


def fits_and_keeps_nobody_out(page: Page) -> None:
    assert page.evaluate(f"{ROOT}.scrollWidth - {ROOT}.clientWidth") <= 0
    assert [one["id"] for one in Axe().run(page).response["violations"]] == []


@pytest.mark.parametrize("size", SIZES)
def test_an_infrared_thermometer_is_checked_by_hand_from_its_entry_to_the_register(
    visit, finished_desk, size
):
    """The whole job by fingers alone: set up, shots at two temperatures, one left out, paper, register."""
    here = visit(size, color_scheme="dark" if size == "tablet" else "light")
    page = here.open("infrared")
    typed_in(page, item="Infrared thermometer, tag 12")
    page.select_option("#thermometer", "entered")
    page.click("text=Enter one that is not in the register")
    typed_in(page, serial="I-12", accuracy_k="2", distance_to_spot="12")
    page.select_option("#reference", "entered")
    page.click("text=Enter a contact thermometer")
    typed_in(page, reference_serial="T-2", reference_u_k="0.3", set_points="50 90", target_mm="30")
    page.click("text=Start the check")
    expect(page.locator("#distance_mm-wrong")).to_contain_text("needs a target of 50 mm")
    here.wrong.clear()  # the browser's own word for a form that was sent back (422)
    typed_in(page, target_mm="100")
    page.click("text=Start the check")
    buttons = ("It lay here that long", "Wiped, and out", "It says 0.95", "Measured")
    for step, button in enumerate(buttons, start=1):
        expect(page.locator(".step")).to_contain_text(f"Step {step} of")
        fits_and_keeps_nobody_out(page)
        page.click(f"button:has-text('{button}')")
    taken = 0
    for point, shots in (("50", ("50.4", "50.5", "50.3")), ("90", ("90.6", "90.5", "90.7", "90.6", "71.0"))):
        for shown in shots:
            taken += 1
            typed_in(page, reference=point, shown=shown)
            page.click("button.thumb")
            expect(page.locator(".list li")).to_have_count(taken)
        if len(shots) > 3:
            expect(page.locator(".instruction")).to_contain_text("Does it count?")
            fits_and_keeps_nobody_out(page)
            typed_in(page, reason="the spot slipped off the plate")
            page.click("button.press:has-text('Leave it out')")
        page.click("button:has-text('Go on to the next')")
        expect(page.locator(".caught .read")).to_have_count(1 if point == "50" else 2)
    page.click("button:has-text('Judge it and issue the certificate')")
    expect(page.locator(".sentence")).to_contain_text("thermometer")
    fits_and_keeps_nobody_out(page)
    page.click("button:has-text('Put its corrections into the register')")
    expect(page.locator(".next")).to_contain_text("are in the register")
    entry = finished_desk.store.register.standing("infrared", "I-12").in_force
    assert len(entry.content["point"]) == 2
