"""A comparison on the vehicle: its events, what they come to, and what was typed."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.curves import load_curve
from calibration.vehicle.in_place import Thermostat, Where
from calibration.vehicle.substitution import Part
from host.data_folder import DataFolder
from host.errors import DeskError
from host.procedures.event import Event
from host.procedures.vehicle.in_place import InPlaceState, Kind, Step, advance, state_of
from host.procedures.vehicle.in_place_result import result_of
from host.procedures.vehicle.in_place_runs import InPlaceRuns
from host.store import open_store
from host.web.in_place_form import StepForm, empty_step_form, event_of

CURVE = load_curve("ntc-2k5-20c")
ON_TAPE = {"surface": "vinyl electrical tape", "set_emissivity": "0.95", "surroundings": "40"}


@pytest.fixture
def runs(tmp_path):
    store = open_store(DataFolder(tmp_path))
    yield InPlaceRuns(store)
    store.close()


@pytest.fixture
def run(runs):
    return runs.start(item="the blue van", curve=CURVE.name, job="J-7", operator="Ada")


def typed(runs, run, step, **fields):
    made = event_of(step, fields, curve=CURVE, unit="C")
    assert not isinstance(made, StepForm), made.errors
    return runs.add(run, *made)


def spot(runs, run, step, shown):
    return typed(
        runs,
        run,
        step,
        shown=shown,
        surface="vinyl electrical tape",
        set_emissivity="0.95",
        surroundings="40",
    )


def warm_engine(runs, run, *, scan="90", gauge="90", head="88"):
    typed(runs, run, Step.THERMOSTAT, thermostat="fully open")
    typed(runs, run, Step.SCAN_DATA, shown=scan)
    typed(runs, run, Step.GAUGE, shown=gauge)
    return spot(runs, run, Step.HEAD, head)


def boxed(runs, run, step, resistance_ohm, shown_c):
    return typed(runs, run, step, setting=str(resistance_ohm), shown=f"{shown_c:.0f}")


def test_the_steps_come_one_after_the_other_and_a_step_left_out_is_not_asked_again(runs, run):
    assert runs.view(run).state.next_step is Step.THERMOSTAT
    view = warm_engine(runs, run)
    assert view.state.next_step is Step.OUTLET_HOSE
    for step in (Step.OUTLET_HOSE, Step.RETURN_HOSE, Step.BOX_AT_COMPUTER, Step.BOX_AT_PLUG):
        assert runs.view(run).state.next_step is step
        runs.add(run, Kind.SKIPPED, {"step": step.value})
    assert runs.view(run).state.next_step is None


def test_a_warm_engine_whose_readings_agree_has_nothing_to_be_done(runs, run):
    result = warm_engine(runs, run).result
    assert "agree" in result.words
    assert result.next_action == "Nothing to do here."


def test_scan_data_far_below_head_and_gauge_are_named_with_how_far(runs, run):
    result = warm_engine(runs, run, scan="70").result
    assert result.comparison.odd_one is Where.SCAN_DATA
    assert result.comparison.off_by_k < -10.0
    assert "decade box" in result.next_action


def test_with_the_box_at_both_ends_the_wiring_is_named_and_its_ohms(runs, run):
    # 300 ohms in line at the plug make a computer with this curve show what 300 ohms more would.
    box_ohm = 300
    warm_engine(runs, run, scan="60")
    boxed(runs, run, Step.BOX_AT_COMPUTER, box_ohm, CURVE.indicated_c(box_ohm, at_c=80.0))
    shown_c = CURVE.indicated_c(box_ohm + 300, at_c=60.0)
    result = boxed(runs, run, Step.BOX_AT_PLUG, box_ohm, shown_c).result
    assert [one.part for one in result.parts_off][0] is Part.WIRING
    series_ohm, expanded_u_ohm = result.parts_off[0].series_ohm
    assert series_ohm == pytest.approx(300.0, abs=expanded_u_ohm)
    assert "in line" in result.words


def test_with_a_sound_computer_and_wiring_the_sender_is_left(runs, run):
    box_ohm = 300
    warm_engine(runs, run, scan="70", gauge="70")
    for step in (Step.BOX_AT_COMPUTER, Step.BOX_AT_PLUG):
        boxed(runs, run, step, box_ohm, CURVE.indicated_c(box_ohm, at_c=80.0))
    result = runs.view(run).result
    assert [one.part for one in result.parts_off] == [Part.SENDER]
    assert "on the bench" in result.next_action


def test_what_is_struck_out_stays_in_the_log_and_no_longer_counts(runs, run):
    warm_engine(runs, run, head="40")
    view = runs.add(run, Kind.STRUCK_OUT, {"step": Step.HEAD.value})
    assert Step.HEAD not in view.state.taken
    assert view.state.next_step is Step.HEAD
    view = spot(runs, run, Step.HEAD, "88")
    assert "agree" in view.result.words


def test_a_finished_comparison_keeps_its_words_and_takes_nothing_more(runs, run):
    said = warm_engine(runs, run, scan="70").result.words
    runs.finish(run)
    runs.finish(run)
    assert runs.view(run).state.words == said
    with pytest.raises(DeskError, match="is over"):
        spot(runs, run, Step.OUTLET_HOSE, "80")


def test_nothing_is_finished_before_anything_can_be_compared(runs, run):
    with pytest.raises(DeskError, match="two readings"):
        runs.finish(run)


def test_a_spot_on_tape_is_corrected_little_and_on_bare_metal_by_much_and_unsurely(runs, run):
    def corrected(**surface):
        return event_of(Step.HEAD, {**ON_TAPE, "shown": "80", **surface}, curve=CURVE, unit="C")[1]

    on_tape, on_metal = corrected(), corrected(surface="heavily oxidised aluminium")
    assert abs(on_tape["temperature_c"] - 80.0) < 1.0
    assert on_metal["temperature_c"] > 90.0
    assert on_metal["expanded_u_k"] > 3.0 * on_tape["expanded_u_k"]


@pytest.mark.parametrize(
    ("step", "fields", "wrong"),
    [
        (Step.THERMOSTAT, {}, "thermostat"),
        (Step.SCAN_DATA, {"shown": ""}, "shown"),
        (Step.SCAN_DATA, {"shown": "warm"}, "shown"),
        (Step.GAUGE, {"shown": "9000"}, "shown"),
        (
            Step.HEAD,
            {**ON_TAPE, "shown": "80", "surface": "mud"},
            "surface",
        ),
        (
            Step.HEAD,
            {**ON_TAPE, "shown": "80", "set_emissivity": "95"},
            "set_emissivity",
        ),
        (Step.BOX_AT_COMPUTER, {"setting": "-3", "shown": "90"}, "setting"),
        (Step.BOX_AT_COMPUTER, {"setting": "300", "shown": ""}, "shown"),
    ],
)
def test_what_cannot_be_read_is_said_beside_its_field_and_kept(step, fields, wrong):
    form = event_of(step, fields, curve=CURVE, unit="C")
    assert isinstance(form, StepForm)
    assert set(form.errors) == {wrong}
    assert form.typed == fields


def test_fahrenheit_in_gives_the_same_reading():
    celsius = event_of(Step.SCAN_DATA, {"shown": "90"}, curve=CURVE, unit="C")[1]
    fahrenheit = event_of(Step.SCAN_DATA, {"shown": "194"}, curve=CURVE, unit="F")[1]
    assert fahrenheit["temperature_c"] == pytest.approx(celsius["temperature_c"])
    assert fahrenheit["u_display_k"] == pytest.approx(celsius["u_display_k"] / 1.8)


def test_a_needle_is_read_no_finer_than_to_two_kelvin():
    # Rectangle of half-width 2 K (assumed) and half of the last digit: JCGM 100, 4.3.7.
    needle = event_of(Step.GAUGE, {"shown": "90"}, curve=CURVE, unit="C")[1]
    assert needle["u_display_k"] == pytest.approx(math.hypot(2.0, 0.5) / math.sqrt(3.0))
    assert needle["expanded_u_k"] == pytest.approx(2.0 * needle["u_display_k"])


def test_bars_of_the_strip_are_what_each_reading_allows_for_the_coolant_the_fairest_first(runs, run):
    view = warm_engine(runs, run)
    head, scan, gauge = view.result.witnesses
    assert [head.name, scan.name, gauge.name] == ["by the head", "scan data", "dash gauge"]
    taken = {step: one.reading for step, one in view.state.taken.items()}
    # The head may be 5 K colder than the coolant; a gauge may stand 5 K off (both assumed).
    assert head.temperature_c == pytest.approx(taken[Step.HEAD].temperature_c + 2.5)
    assert head.expanded_u_k == pytest.approx(taken[Step.HEAD].expanded_u_k + 2.5)
    assert gauge.temperature_c == pytest.approx(90.0)
    assert gauge.expanded_u_k == pytest.approx(taken[Step.GAUGE].expanded_u_k + 5.0)
    assert scan.expanded_u_k == pytest.approx(taken[Step.SCAN_DATA].expanded_u_k)


def test_the_box_is_suggested_where_the_computer_shows_a_warm_engine():
    form = empty_step_form(Step.BOX_AT_COMPUTER, CURVE, {})
    shown_c = CURVE.indicated_c(float(form.typed["setting"]), at_c=80.0)
    assert shown_c == pytest.approx(min(90.0, CURVE.valid_to_c), abs=0.5)


def said(kind, **payload):
    return Event(kind=kind, payload=payload)


def a_reading(step, temperature_c):
    made = {"temperature_c": temperature_c, "expanded_u_k": 2.0, "u_display_k": 0.3, "typed": "", "words": ""}
    return said(Kind.READ, step=step.value, **made)


events = st.lists(
    st.one_of(
        st.sampled_from([said(Kind.THERMOSTAT_SEEN, thermostat=word.value) for word in Thermostat]),
        st.sampled_from([said(Kind.SKIPPED, step=step.value) for step in Step]),
        st.sampled_from([said(Kind.STRUCK_OUT, step=step.value) for step in Step]),
        st.builds(a_reading, st.sampled_from([step for step in Step if step.where]), st.floats(20.0, 120.0)),
    ),
    max_size=25,
)
STARTED = Event(kind=Kind.STARTED, payload={"settings": {"item": "x", "curve": CURVE.name, "curve_toml": ""}})


@given(events)
def test_whatever_is_read_left_out_or_struck_out_there_is_a_next_step_or_an_end_and_words(log):
    state = state_of([STARTED, *log])
    result = result_of(state, CURVE)
    assert result.words and result.next_action
    assert state.next_step is None or not state.has_answer(state.next_step)
    # Made again from its events it is the same.
    assert state_of([STARTED, *log]) == state


@given(events)
def test_no_event_follows_the_end(log):
    state = state_of([STARTED, *log, Event(kind=Kind.STOPPED, payload={"reason": "rain"})])
    for event in log:
        with pytest.raises(ValueError, match="cannot follow"):
            advance(state, event)
    assert isinstance(state, InPlaceState) and state.is_over
