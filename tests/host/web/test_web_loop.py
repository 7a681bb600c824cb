"""A sender check by one heating with rests, from the form to its certificate."""

import json
from dataclasses import replace

import pytest

from calibration.contract.readings import Insertion
from host.curve_to_find import FIND_OUT
from host.procedures.record.issued_record import record_in_store
from host.procedures.record.recompute import recompute
from host.procedures.record.record_folder import read_record, write_record
from host.procedures.sender.sender_course import closings_of, course_of

pytestmark = pytest.mark.slow

CURVE = "ntc-310-80c"
FORM = {
    "item": "Sender, tag 7",
    "curve": "ntc-310-80c",
    "set_points": "30 60 85",
    "scale": "c",
    "course": "loop",
    "customer": "Mrs A. Fennimore",
}
LAG_S = 12.0


def start(browser, **changes: str) -> int:
    answer = browser.post("/stations/bench-1/sender-check", data={**FORM, **changes})
    assert answer.status_code == 303, answer.text
    return int(answer.headers["Location"].rsplit("/", 1)[1])


@pytest.fixture
def finished(browser, desk, bench) -> int:
    bench.sender_lag_s = LAG_S
    bench.series_ohm = 25.0
    run = start(browser)
    desk.let_hands_finish(run, bench=bench)
    assert desk.runs.view(run).state.phase.value == "done", desk.runs.view(run).state.reason
    return run


def test_a_loop_comes_to_a_certificate_that_says_how_it_was_heated(browser, desk, finished):
    data = json.loads(desk.store.certificates.of_run(finished)[-1].files.canonical_json)
    assert data["method"].startswith("sender check by one heating with rests, version 2")
    conditions = {entry["name"]: entry["words"] for entry in data["conditions"]}
    assert "3 rests" in conditions["heating"]
    assert data["verdict"] == "out_of_tolerance"  # 25 Ω in series with some 310 at 80 °C
    page = browser.get(f"/runs/{finished}").text
    section = page[page.index("The way there") : page.index("The budget")]
    assert section.count("<tr><td>") == 4  # three rests and the top


def test_a_loop_comes_out_the_same_from_its_readings_in_a_folder_on_another_machine(desk, finished, tmp_path):
    number = desk.store.certificates.of_run(finished)[-1].number
    write_record(desk.store, record_in_store(desk.store, number), tmp_path / "elsewhere")
    record = read_record(tmp_path / "elsewhere")
    result = recompute(record)
    assert result.difference is None and not result.is_of_another_method

    def warmer(cited):
        return [
            replace(pack, channels=pack.channels | {"probe": replace(probe, raw=probe.raw * 1.0005)})
            if pack.insertion is Insertion.NONE and (probe := pack.channels["probe"]).raw is not None
            else pack
            for pack in record.readings_of(cited)
        ]

    altered = recompute(replace(record, readings_of=warmer))
    assert altered.difference is not None and " is now " in altered.difference


def test_the_strip_of_a_loop_shows_no_thermometer_s_lag(desk, finished):
    data = json.loads(desk.store.certificates.of_run(finished)[-1].files.canonical_json)
    for point in data["body"]["points"]:
        shown = {w["name"]: float(w["temperature_c"]["full"]) for w in point["witnesses"]}
        # The bench of these tests reads its witness 0.1 K low and its infrared 0.7 K low.
        assert shown["1-wire witness"] == pytest.approx(shown["contact probe"] - 0.1, abs=0.06)
        assert shown["infrared"] == pytest.approx(shown["contact probe"] - 0.7, abs=0.06)


def test_the_cards_of_a_loop_call_the_heater_off_at_each_rest_and_say_what_is_caught(desk, browser, bench):
    run = start(browser)
    said: list[str] = []

    def is_over() -> bool:
        view = desk.runs.view(run)
        if view.card.instruction not in said[-1:]:
            said.append(view.card.instruction)
        desk.hands.watch((view,))
        return view.state.is_over

    desk.lead_until(is_over, bench=bench)
    assert sum(words.startswith("Switch the heater on") for words in said) == 4
    assert sum(words.startswith("Switch the heater off now") for words in said) == 4
    assert all(read for _, read in desk.runs.view(run).card.caught)


def test_a_loop_from_warm_water_waits_and_says_so(desk, browser, bench):
    run = start(browser)
    desk.lead_until_phase(run, "loop", bench=bench)
    bench.bath_c = 33.0
    bench.read(200)
    desk.lead()
    card = desk.runs.view(run).card
    assert desk.runs.view(run).state.loop is None
    assert "Pour in cold water" in card.trouble


def test_a_loop_that_came_to_nothing_starts_again_on_plateaus_with_one_press(desk, browser, bench):
    run = start(browser)
    desk.lead_until_phase(run, "loop", bench=bench)
    desk.lead_until(lambda: desk.runs.view(run).state.loop is not None, bench=bench)
    bench.boot, bench.seq, bench._time_s = "00000009-0000abcd", 0, 0.0
    bench.say()
    bench.read(20)
    desk.lead_until(lambda: desk.runs.view(run).state.is_over, bench=bench)
    page = browser.get(f"/runs/{run}").text
    assert "given up: the rig was started again" in page
    assert "Start again on plateaus" in page
    answer = browser.post(f"/runs/{run}/plateaus")
    twice = browser.post(f"/runs/{run}/plateaus")
    assert (twice.status_code, twice.headers["Location"]) == (303, answer.headers["Location"])
    again = desk.runs.view(int(answer.headers["Location"].rsplit("/", 1)[1])).state.started
    assert (again.course.value, again.item, again.customer, again.set_points_c) == (
        "plateaus", FORM["item"], FORM["customer"], (30.0, 60.0, 85.0),
    )  # fmt: skip


def test_what_a_loop_cannot_do_is_refused_beside_its_field(browser, desk, bench):
    answer = browser.post("/stations/bench-1/sender-check", data={**FORM, "trials": "all"})
    assert answer.status_code == 422
    assert 'id="trials-wrong"' in answer.text
    hot = browser.post(
        "/stations/bench-1/sender-check",
        data={**FORM, "curve": "ntc-2k5-20c", "limit_k": "2", "set_points": "30 60 95"},
    )
    assert hot.status_code == 422
    assert "runs on to some 101" in hot.text
    assert 'value="loop" checked' in hot.text


def test_a_loop_starts_well_below_its_first_pause_even_where_all_set_points_are_hot(desk, browser, bench):
    run = start(browser, set_points="50 65 85")
    desk.lead_until_phase(run, "loop", bench=bench)
    bench.bath_c = 40.0  # under the lowest set point, over the first pause of 38 °C
    bench.read(200)
    desk.lead()
    view = desk.runs.view(run)
    assert view.state.loop is None
    assert "below 32 °C" in view.card.trouble.replace(" °C", " °C")


def test_a_rest_counts_from_when_the_heater_went_off_not_from_the_call(desk, browser, bench):
    """A heater that hands switch off a minute late has not rested after the 75 s of a usual pause."""
    bench.sender_lag_s = LAG_S
    run = start(browser)

    def rests():
        loop = desk.runs.view(run).state.loop
        return () if loop is None else loop.rests

    def is_called():
        desk.hands.watch((desk.runs.view(run),))
        return bool(rests())

    desk.lead_until(is_called, bench=bench)
    bench.heater_c = 98.0
    for _ in range(12):  # a minute too long
        bench.read(20)
        desk.lead()
    assert "switch the heater off" in desk.runs.view(run).card.trouble
    bench.heater_c, off_s = None, bench._time_s
    desk.lead_until(lambda: rests()[0].to_s is not None, bench=bench)
    assert rests()[0].to_s - off_s >= 60.0


def test_a_form_sent_while_another_device_began_a_run_keeps_what_was_typed(desk, browser, bench):
    run = start(browser)
    answer = browser.post("/stations/bench-1/sender-check", data={**FORM, "customer": "Mr O. Quill"})
    assert answer.status_code == 422
    assert f"busy with run {run:04d}" in answer.text
    assert "Mr O. Quill" in answer.text


def test_a_loop_of_an_unknown_curve_waits_for_the_choice_and_is_judged_against_it(desk, browser, bench):
    bench.sender_lag_s = LAG_S
    run = start(browser, curve=FIND_OUT, limit_k="2")
    desk.lead_until_phase(run, "choosing", bench=bench)
    assert not desk.store.certificates.of_run(run)
    assert CURVE in browser.get(f"/runs/{run}").text
    browser.post(f"/runs/{run}/curve", data={"curve": CURVE, "limit_k": "2"})
    desk.lead_until(lambda: desk.runs.view(run).state.is_over, bench=bench)
    data = json.loads(desk.store.certificates.of_run(run)[-1].files.canonical_json)
    assert desk.runs.view(run).state.started.curve == CURVE
    # The sender of this bench follows that curve; the one that stands in is 2.8 K off at 85 °C.
    errors_k = [float(point["error_k"]["full"]) for point in data["body"]["points"]]
    assert errors_k == pytest.approx([0.0, 0.0, 0.0], abs=0.5), errors_k


def test_the_way_of_a_loop_begins_at_rest_and_tells_the_lag_at_each_of_its_rests(desk, browser, bench):
    bench.sender_lag_s, bench.bath_c = LAG_S, 80.0  # warm from the check before; the hands pour fresh water
    run = start(browser)
    desk.let_hands_finish(run, bench=bench)
    state = desk.runs.view(run).state
    course = course_of(state, desk.store)
    assert (course[0].boot, course[0].seq >= state.loop.first) == (state.loop.boot, True)
    assert max(abs(point.difference_k) for point in course if point.difference_k is not None) < 3.0
    for closing in closings_of(state, course):
        # A body of one time constant trails a ramp by rate x time constant: here 0.16 K/s x 12 s.
        assert closing.on_the_way_k == pytest.approx(-0.16 * LAG_S, abs=0.25)
        assert closing.held_k == pytest.approx(0.0, abs=0.1)
