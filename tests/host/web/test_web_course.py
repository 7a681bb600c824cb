"""The way of a sender through its bath, on the page of a run at work and of its result."""

import re
import xml.etree.ElementTree as ET

import pytest

from calibration.curves import load_curve
from host.pictures.course_chart import DrawnReading, course_chart_svg
from host.procedures.sender.sender_course import closings_of, course_of

pytestmark = pytest.mark.slow

LAG_S = 10.0
#: The bath of these tests heats by 0.04 K every quarter of a second.
RATE_K_PER_S = 0.16
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def slow_run(desk, bench):
    bench.sender_lag_s = LAG_S
    run = desk.runs.start_sender_check(
        station="bench-1", item="Sender, tag 7", curve="ntc-310-80c", set_points_c=(30.0, 60.0, 85.0)
    )
    desk.let_hands_finish(run, bench=bench)
    return run


def test_a_sender_that_lags_stands_off_by_rate_times_lag_and_closes_when_the_bath_is_held(desk, slow_run):
    # A body of one time constant trails a ramp by rate x time constant once it has settled into it: the
    # ramp response of a first-order system, any textbook of control (quoted from memory).
    state = desk.runs.view(slow_run).state
    _, second, third = closings_of(state, course_of(state, desk.store))
    for closing in (second, third):
        assert closing.on_the_way_k == pytest.approx(-RATE_K_PER_S * LAG_S, abs=0.12)
        assert closing.held_k == pytest.approx(0.0, abs=0.06)
    assert second.temperature_c == pytest.approx(60.0, abs=0.2)
    assert second.resistance_ohm == pytest.approx(load_curve("ntc-310-80c").nominal_ohm(60.0), rel=5e-3)


def test_the_way_begins_with_the_heating_and_ends_with_the_last_plateau(desk, slow_run):
    state = desk.runs.view(slow_run).state
    course = course_of(state, desk.store)
    assert state.heated_from is not None
    assert course[0].seq > state.heated_from[1] >= state.box_read[-1].last
    assert course[-1].seq <= state.windows[-1].citation.last
    assert course[0].temperature_c < 30.0 < 84.0 < course[-1].temperature_c


def test_the_hot_water_of_another_check_and_its_refill_are_no_part_of_the_way(desk, bench):
    bench.sender_lag_s = LAG_S
    run = desk.runs.start_sender_check(
        station="bench-1", item="Sender, tag 8", curve="ntc-310-80c", set_points_c=(30.0, 60.0, 85.0)
    )
    desk.lead_until_phase(run, "plateaus", bench=bench)
    bench.bath_c = 88.0
    bench.read(60)  # the sender, put in cold, stands far off this water when fresh water is poured over it
    state, hot = desk.runs.view(run).state, bench.seq
    assert state.heated_from is not None
    assert hot - 60 >= state.heated_from[1], "the hot water is read once the heating may begin"
    assert any((one.difference_k or 0.0) < -20.0 for one in course_of(state, desk.store))
    desk.let_hands_finish(run, bench=bench)
    state = desk.runs.view(run).state
    course = course_of(state, desk.store)
    assert course[0].seq > hot
    assert course[0].temperature_c == min(one.temperature_c for one in course) < 30.0
    assert max(one.temperature_c for one in course) < 86.0
    # rate x lag, as above; what the sender kept of the hot water is gone before the second plateau
    _, second, _ = closings_of(state, course)
    assert second.on_the_way_k == pytest.approx(-RATE_K_PER_S * LAG_S, abs=0.12)


def test_a_desk_that_starts_again_shows_the_same_way(desk, slow_run):
    before = course_of(desk.runs.view(slow_run).state, desk.store)
    again = type(desk)(desk.folder)
    try:
        assert course_of(again.runs.view(slow_run).state, again.store) == before
    finally:
        again.close()


def test_the_result_shows_the_way_with_a_row_for_each_plateau(browser, slow_run):
    page = browser.get(f"/runs/{slow_run}").text
    section = page[page.index("The way there") : page.index("The budget")]
    assert "course-chart" in section
    assert len(re.findall(r"<tr><td>", section)) == 3
    assert "On the way to" in section
    in_fahrenheit = browser.get(f"/runs/{slow_run}?scale=f").text
    assert "bath in °F" in in_fahrenheit


def test_a_run_at_work_shows_the_way_so_far_and_none_before_it_heats(browser, desk, bench):
    run = desk.runs.start_sender_check(
        station="bench-1", item="Sender, tag 7", curve="ntc-310-80c", set_points_c=(30.0, 60.0, 85.0)
    )
    assert browser.get(f"/runs/{run}/course").text.strip() == ""
    desk.lead_until_phase(run, "plateaus", bench=bench)
    desk.lead_until(lambda: bool(desk.runs.view(run).state.windows) or _help(desk, run), bench=bench)
    fresh = browser.get(f"/runs/{run}/course")
    assert fresh.headers["Cache-Control"] == "no-store"
    assert "course-chart" in fresh.text
    assert fresh.text.strip() in browser.get(f"/runs/{run}").text


def test_a_run_that_nobody_started_has_no_way(browser, desk):
    assert browser.get("/runs/999/course").status_code == 404


def test_a_branch_is_drawn_through_no_gap_and_no_restart():
    def reading(life: str, time_s: float) -> DrawnReading:
        return DrawnReading(
            life=life, time_s=time_s, temperature_c=30.0 + time_s / 10.0, resistance_ohm=1000.0 - time_s,
            difference_k=0.1, is_held=False,
        )  # fmt: skip

    def lines(readings: list[DrawnReading]) -> int:
        root = ET.fromstring(course_chart_svg(readings, load_curve("ntc-310-80c"), said="said"))
        return sum(1 for path in root.iter(f"{SVG}path") if "clip-path" in path.attrib)

    whole = [reading("a", float(second)) for second in range(0, 60, 3)]
    with_gap = [one for one in whole if not 15.0 < one.time_s < 45.0]
    restarted = [reading("a" if one.time_s < 30.0 else "b", one.time_s) for one in whole]
    assert lines(with_gap) == lines(restarted) == lines(whole) + 2  # one more branch in each of the two


def test_a_picture_of_nothing_is_refused():
    with pytest.raises(ValueError, match="at least one reading"):
        course_chart_svg([], load_curve("ntc-310-80c"), said="said")


def _help(desk, run) -> bool:
    desk.hands.watch((desk.runs.view(run),))
    return False
