"""What moves on a page by itself, and what survives a desk, a network or a phone that was away."""

import json
import threading

import pytest
from playwright.sync_api import expect

from host.web.app import create_app
from host.web.server import PageServer

pytestmark = [pytest.mark.slow, pytest.mark.browser]

# What a browser tells a page when the screen goes dark and when it comes back.
ASLEEP = """(asleep) => {
  Object.defineProperty(document, "hidden", { configurable: true, get: () => asleep });
  Object.defineProperty(document, "visibilityState",
    { configurable: true, get: () => (asleep ? "hidden" : "visible") });
  document.dispatchEvent(new Event("visibilitychange"));
}"""


def test_live_values_move_without_a_reload(visit, finished_desk):
    bench = finished_desk.benches["bench-1"]
    here = visit()
    page = here.open("stations/bench-1")
    page.evaluate("window.sameLife = true")
    shown = "parseFloat(document.querySelector('.values div:nth-child(2) b').textContent)"
    assert page.evaluate(shown) < 40.0
    bench.bath_c = 41.0
    bench.read(1)
    here.until(page, f"Math.abs({shown} - 41.0) < 0.03")
    assert page.evaluate("window.sameLife") is True


def test_the_target_of_an_infrared_check_moves_without_a_reload_and_keeps_what_was_typed(
    visit, finished_desk
):
    here = visit()
    page = here.open("infrared")
    fields = {"item": "Infrared thermometer, tag 3", "serial": "I-3", "accuracy_k": "2"}
    page.select_option("#thermometer", "entered")
    page.click("text=Enter one that is not in the register")
    for name, text in fields.items():
        page.fill(f"#{name}", text)
    page.fill("#set_points", "45 65 85")
    page.select_option("#reference", "station:bench-1")
    page.click("text=Start the check")
    for button in ("It lay here that long", "Wiped, and out", "It says 0.95", "Measured"):
        page.click(f"button:has-text('{button}')")
    page.fill("#shown", "45.")
    bench = finished_desk.benches["bench-1"]
    bench.bath_c = 45.0
    bench.read(100)
    expect(page.locator("[data-live]")).to_contain_text("45.0")
    bench.pressed_before_s = (0.1,)
    bench.read(1)
    expect(page.get_by_role("link", name="Type what the thermometer showed then")).to_be_visible()
    expect(page.locator("#shown")).to_have_value("45.")
    here.look_at(page)


def test_the_strip_chart_is_drawn_from_the_ring_and_goes_on(visit, finished_desk):
    here = visit("desk")
    page = here.open("stations/bench-1")
    inked = """() => {
      const { width, height } = document.querySelector('canvas');
      const pen = new OffscreenCanvas(width, height).getContext('2d', { willReadFrequently: true });
      pen.drawImage(document.querySelector('canvas'), 0, 0);
      const data = pen.getImageData(0, 0, width, height).data;
      let count = 0;
      for (let at = 3; at < data.length; at += 4) count += data[at] > 128 ? 1 : 0;
      return count;
    }"""
    here.until(page, f"({inked})() > 1500")
    expect(page.locator("canvas")).not_to_have_class("empty")


def test_the_picture_of_the_way_goes_on_without_a_reload(visit, finished_desk):
    bench = finished_desk.benches["bench-1"]
    finished_desk.lead_until_phase(3, "plateaus", bench=bench)
    bench.heater_c = 40.0
    bench.read(100)
    here = visit()
    page = here.open("runs/3")
    page.evaluate("window.sameLife = true")
    expect(page.locator(".course-chart svg")).to_be_visible()
    said = page.locator(".course .aside").inner_text()
    bench.read(200)
    here.until(page, f"document.querySelector('.course .aside').innerText !== {json.dumps(said)}")
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
    here.until(page, "document.querySelector('canvas').width > 0")
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
    here = visit()
    page = here.open("stations/bench-1")
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
        here.until(page, "window.changes > 3")
        begun = page.evaluate("[window.changes, performance.now()]")
        here.until(page, f"performance.now() > {begun[1]} + 2000")
        ended = page.evaluate("[window.changes, performance.now()]")
    finally:
        stopping.set()
        hurrying.join()
    assert (ended[0] - begun[0]) / ((ended[1] - begun[1]) / 1000.0) <= 6.0


def test_a_station_in_trouble_moves_to_the_top_of_the_wall_without_a_reload(visit, finished_desk):
    other = finished_desk.add_bench("bench-2")
    other.say()
    other.read(40)
    page = visit("desk").open("wall")
    page.evaluate("window.sameLife = true")
    first = page.locator("[data-wall] > li").first
    expect(first).to_have_attribute("data-station", "bench-1")  # its run asks for hands
    expect(first.locator(".standing")).to_contain_text("needs hands")
    other.say(trouble=("no answer from the probe for 6 s: check the plug at J2",), connect=2)
    expect(first).to_have_attribute("data-station", "bench-2")
    expect(first.locator(".why")).to_contain_text("check the plug at J2")
    expect(page.locator("[data-summary]")).to_contain_text("1 trouble")
    assert page.evaluate("window.sameLife") is True


def test_without_script_the_wall_is_made_anew_by_itself(visit, finished_desk):
    page = visit("desk", java_script_enabled=False).open("wall")
    expect(page.locator("[data-station=bench-1] .standing")).to_contain_text("needs hands")
    expect(page.locator("meta[http-equiv=refresh]")).to_have_count(
        1
    )  # every ten seconds, as a press of reload
    finished_desk.runs.stop_run(3, "enough")
    page.reload()
    expect(page.locator("[data-station=bench-1] .standing")).to_contain_text("idle")
