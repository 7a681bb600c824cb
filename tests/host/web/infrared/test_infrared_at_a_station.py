"""At a station: the bench's probe says how hot the target is, its button stamps a shot."""

import re

import pytest

from calibration.contract.readings import Insertion, Quality
from host.procedures.infrared.infrared_check import Kind
from host.procedures.logged import events_of
from tests.host.web.filled_forms import AT_A_STATION
from tests.host.web.infrared.steps import begin, plain, set_up, settle, shot, text_of, whole_rest

pytestmark = pytest.mark.slow


def test_at_a_station_the_probe_says_how_hot_the_target_is_and_its_readings_are_cited(browser, desk, bench):
    begin(browser, **AT_A_STATION)
    set_up(browser)
    settle(bench, 60.0)
    assert "Target now:" in text_of(browser, "/infrared/1")
    for shown in ("60.3", "60.4", "60.2"):
        assert shot(browser, shown).status_code == 303
        bench.read(8)
    whole_rest(browser, bench, ("75", "88"))
    data = desk.store.certificates.get("000001").files.canonical_json.decode("utf-8")
    assert "bench-1, boot 00000001-0000abcd, readings" in data
    assert "calibration temperature; emissivity" in text_of(browser, "/infrared/1")
    assert "read by hand (calibration" not in text_of(browser, "/infrared/1")
    assert '"simulated": true' in data or '"simulated":true' in data
    assert "no real thermometer" in text_of(browser, "/infrared/1")


def test_a_bath_far_from_its_set_point_is_asked_about_at_the_bench_too(browser, bench):
    begin(browser, **AT_A_STATION)
    set_up(browser)
    settle(bench, 71.0)
    asked = shot(browser, "71.2")
    assert asked.status_code == 422 and "The target is at 71.0 °C" in plain(asked)
    settle(bench, 62.0)
    assert shot(browser, "62.2").status_code == 303


def test_a_bath_that_drifts_takes_no_shot(browser, bench):
    begin(browser, **AT_A_STATION)
    set_up(browser)
    settle(bench, 60.0)
    bench.heater_c = 70.0
    bench.read(60)
    answer = shot(browser, "60.3")
    assert answer.status_code == 422 and "drifts by" in answer.text


def test_a_dead_probe_takes_no_shot(browser, bench):
    begin(browser, **AT_A_STATION)
    set_up(browser)
    settle(bench, 60.0)
    bench.quality = {"probe": (Quality.OPEN, "no current")}
    bench.read(100)
    answer = shot(browser, "60.3")
    assert answer.status_code == 422 and "Look at its plug" in answer.text


def test_a_silent_station_s_last_readings_are_no_target_of_now(browser, desk, bench):
    begin(browser, **AT_A_STATION)
    set_up(browser)
    settle(bench, 60.0)
    desk.let_wall_time_pass(75.0)
    page = text_of(browser, "/infrared/1")
    assert "Target now:" not in page and "bench-1 is silent for 75 s" in page
    answer = shot(browser, "60.3")
    assert answer.status_code == 422 and "not of now" in answer.text
    by_hands = browser.post("/infrared/1/hands", data={"do": "shoot"})
    assert by_hands.status_code == 422 and "not of now" in by_hands.text
    assert events_of(desk.store, 1)[-1].kind == Kind.SET_UP_DONE
    bench.say()  # it speaks again, and its newest reading is still the old one
    assert "has sent no reading for 75 s" in plain(shot(browser, "60.3"))
    bench.read(1)
    assert shot(browser, "60.3").status_code == 303


def test_the_target_s_stream_says_it_as_it_is_now_and_a_press_that_the_page_does_not_show(
    browser, desk, bench, events_of
):
    begin(browser, **AT_A_STATION)
    assert browser.get("/infrared/1/live").text == "retry: 1000\n\n"  # nothing is shot yet
    set_up(browser)
    settle(bench, 60.0)
    assert 'data-stream="/infrared/1/live"' in text_of(browser, "/infrared/1")
    first = next_event(browser, events_of)
    assert first["run"] == 1 and "60.0" in first["live"] and "it stands still enough" in first["live"]
    assert "bench button" not in first["live"]
    stream = browser.get("/infrared/1/live", buffered=False)
    parts = stream.iter_encoded()
    next(parts), next(parts)
    bench.heater_c, bench.pressed_before_s = 70.0, (0.12,)
    bench.read(60)
    moved = events_of(next(parts).decode())[0]["live"].replace("\N{NO-BREAK SPACE}", " ")
    stream.close()
    assert "The target drifts by" in moved and "The bench button was pressed 15 s ago" in moved
    desk.let_wall_time_pass(30.0)
    assert "is silent for" in next_event(browser, events_of)["live"].replace("\N{NO-BREAK SPACE}", " ")


def next_event(browser, events_of):
    stream = browser.get("/infrared/1/live", buffered=False)
    parts = stream.iter_encoded()
    text = next(parts).decode() + next(parts).decode()
    stream.close()
    return events_of(text)[0]


def test_a_probe_whose_place_the_decade_box_took_says_nothing_of_a_target(browser, bench):
    begin(browser, **AT_A_STATION)
    set_up(browser)
    settle(bench, 60.0)
    bench._insertion, bench._decade_ohm = Insertion.PROBE, 2500.0
    bench.read(100)
    answer = shot(browser, "60.3")
    assert answer.status_code == 422 and "The probe gave 0 good readings" in plain(answer)


def test_a_rig_that_still_sends_what_it_read_earlier_has_no_target_of_now(browser, bench):
    begin(browser, **AT_A_STATION)
    set_up(browser)
    settle(bench, 60.0)
    bench.say(connect=2, holds={bench.boot: (1, bench.seq + 2000)})
    answer = shot(browser, "60.3")
    assert answer.status_code == 422 and "was read earlier" in answer.text


def test_a_press_keeps_its_moment_while_the_rig_is_silent_for_as_long_as_typing_takes(browser, desk, bench):
    begin(browser, **AT_A_STATION)
    set_up(browser)
    settle(bench, 60.0)
    bench.pressed_before_s = (0.12,)
    bench.read(1)
    desk.let_wall_time_pass(40.0)
    page = text_of(browser, "/infrared/1")
    assert "The bench button was pressed 40 s ago" in page
    stamp = re.search(r'name="stamp" value="([^"]+)"', page)[1]
    assert shot(browser, "60.3", stamp=stamp).status_code == 303
    bench.pressed_before_s = (0.12,)
    bench.read(1)
    stamp = re.search(r'name="stamp" value="([^"]+)"', text_of(browser, "/infrared/1"))[1]
    desk.let_wall_time_pass(200.0)
    assert "The bench button was pressed" not in text_of(browser, "/infrared/1")
    assert "too long ago" in shot(browser, "60.3", stamp=stamp).text


def test_the_bench_button_stamps_the_shot_and_the_probe_of_that_moment_counts(browser, desk, bench):
    begin(browser, **AT_A_STATION)
    set_up(browser)
    settle(bench, 60.0)
    bench.pressed_before_s = (0.12,)
    bench.read(1)
    bench.heater_c = 70.0  # while it is typed, the bath goes on
    bench.read(60)
    page = text_of(browser, "/infrared/1")
    assert "The bench button was pressed 15 s ago" in page
    stamp = re.search(r'name="stamp" value="([^"]+)"', page)[1]
    assert shot(browser, "60.3", stamp=stamp).status_code == 303
    page = text_of(browser, "/infrared/1")
    assert "target 60.0" in page and "pressed" not in page.split("Shots")[0].split("<form")[1]
    assert shot(browser, "60.3", stamp=stamp).status_code == 422  # typed already


def test_a_press_that_was_no_shot_is_not_asked_for_again(browser, bench):
    begin(browser, **AT_A_STATION)
    set_up(browser)
    settle(bench, 60.0)
    bench.pressed_before_s = (0.12,)
    bench.read(4)
    stamp = re.search(r'name="stamp" value="([^"]+)"', text_of(browser, "/infrared/1"))[1]
    browser.post("/infrared/1/shot", data={"stamp": stamp, "forget": "yes"})
    assert "The bench button was pressed" not in text_of(browser, "/infrared/1")
