"""The infrared check of procedure, against thermometers whose error is known."""

import re
from dataclasses import replace

import pytest

from calibration.conformity import Verdict
from calibration.infrared.emissivity import Shot, Surface, reading_c
from calibration.infrared.planck import EIGHT_TO_FOURTEEN_UM
from host.certificates.bodies.infrared import InfraredBody
from host.procedures.event import Event
from host.procedures.infrared.infrared_advice import adjustment_of, infrared_opinions
from host.procedures.infrared.infrared_card import card_of
from host.procedures.infrared.infrared_check import Kind, SetUp, advance, state_of
from host.procedures.infrared.infrared_result import (
    certificate_of,
    judged_points,
    point_so_far,
    sentence_of,
)
from host.procedures.infrared.infrared_settings import InfraredSettings
from host.shop import Shop

INSTRUMENT = {
    "kind": "infrared",
    "serial": "I-7",
    "certificate": "none, as bought",
    "issuer": "its maker",
    "issued": "2030-01-01",
    "resolution_k": 0.1,
    "accuracy_k": 2.0,
    "emissivity": "settable",
    "distance_to_spot": 12.0,
    "band_from_um": 8.0,
    "band_to_um": 14.0,
}
CONTACT = {"serial": "T-2", "certificate": "none", "resolution_k": 0.1, "accuracy_k": 0.5}


def settings(**changed):
    given = {
        "item": "Infrared thermometer, tag I-7",
        "instrument": INSTRUMENT,
        "reference": CONTACT,
        "station": "bench-1",
        "target": "painted_face",
        "surface_emissivity": 0.96,
        "surface_half_width": 0.02,
        "surface_words": "emissivity 0.96 ± 0.02",
        "target_mm": 100.0,
        "distance_mm": 300.0,
        "set_emissivity": 0.95,
        "air_c": 23.0,
        "set_points_c": (45.0, 65.0, 90.0),
    }
    return InfraredSettings(**(given | changed))


def shot(shown_c, reference_c, u_reference_k=0.3):
    return Event(
        kind=Kind.SHOT,
        payload={
            "shown_c": shown_c,
            "reference_c": reference_c,
            "u_reference_k": u_reference_k,
            "typed": f"{shown_c}",
            "reference_words": "read by hand",
        },
    )


def begun(given):
    started = [Event(kind=Kind.STARTED, payload={"settings": given.as_json()})]
    return started + [Event(kind=Kind.SET_UP_DONE, payload={"step": step.value}) for step in SetUp]


CLOSED = Event(kind=Kind.POINT_CLOSED)


def run_of(given, display_of, u_reference_k=0.3):
    events = begun(given)
    for point_c in given.set_points_c:
        shown_c = display_of(point_c)
        events += [shot(round(shown_c + step, 1), point_c, u_reference_k) for step in (0.0, 0.1, -0.1)]
        events.append(CLOSED)
    return state_of(events)


def display_at(set_emissivity, *, error_k=0.0):
    """What a thermometer shows of a painted face whose temperature its probe says without a gradient."""
    middle = 0.5 * 0.0075

    def shown_c(probe_c):
        face_c = probe_c - middle * (probe_c - 23.0)
        seen = Shot(set_emissivity=set_emissivity, surroundings_c=23.0)
        surface = Surface(emissivity=0.96)
        return reading_c(face_c, surface=surface, shot=seen, law=EIGHT_TO_FOURTEEN_UM) + error_k

    return shown_c


def paper_of(state, run=7):
    return certificate_of(
        state, run=run, number="000007", shop=Shop(name="Invented Garage"),
        issued=__import__("datetime").date(2031, 5, 17), measured="2031-05-17",
    )  # fmt: skip


def test_a_true_thermometer_is_within_its_makers_limits_and_its_error_within_u():
    state = run_of(settings(), display_at(0.95))
    points = judged_points(state)
    assert [point.verdict for point in points] == [Verdict.IN_TOLERANCE] * 3
    assert all(abs(point.error_k) < 0.06 < point.expanded_u_k for point in points)
    assert "reads true" in sentence_of(points)


def test_a_thermometer_three_kelvin_high_is_found_so_and_called_out():
    points = judged_points(run_of(settings(), display_at(0.95, error_k=5.0)))
    assert [round(point.error_k, 0) for point in points] == [5.0, 5.0, 5.0]
    assert points[-1].verdict is Verdict.OUT_OF_TOLERANCE
    assert "too high" in sentence_of(points)


def test_a_bumped_emissivity_is_named_and_how_to_mend_it():
    given = settings()
    state = run_of(given, display_at(0.75))
    adjustment = adjustment_of(given, judged_points(state))
    assert adjustment is not None
    assert adjustment.emissivity == pytest.approx(0.75, abs=0.011)
    assert "was it bumped" in adjustment.words


def display_behind_dirt(lost, set_emissivity=0.95):
    """A lens that keeps a share of the signal off and sends the room's in its place."""
    clean = display_at(set_emissivity)

    def shown_c(probe_c):
        law = EIGHT_TO_FOURTEEN_UM
        signal = (1.0 - lost) * law.signal(clean(probe_c)) + lost * law.signal(23.0)
        return law.temperature_c(signal)

    return shown_c


def advice(given, display_of):
    return " ".join(infrared_opinions(given, judged_points(run_of(given, display_of))))


def test_a_thermometer_that_reads_high_is_not_told_to_have_its_lens_wiped():
    said = advice(settings(), display_at(0.80))
    assert "an emissivity of 0.80 where 0.95 was meant" in said and "was it bumped" in said
    assert "Dirt on its lens is not the cause" in said and "wipe" not in said.lower()


@pytest.mark.parametrize("emissivity", ["settable", 0.95])
def test_a_thermometer_that_reads_low_the_more_the_hotter_the_target_is_to_have_its_lens_wiped(emissivity):
    given = settings(instrument={**INSTRUMENT, "emissivity": emissivity})
    assert display_at(0.95)(90.0) - display_behind_dirt(0.08)(90.0) == pytest.approx(4.6, abs=0.5)
    said = advice(given, display_behind_dirt(0.08))
    assert "keeps 8 % of the signal off" in said and "Wipe the lens" in said


def test_dirt_that_a_setting_could_explain_too_is_asked_about_after_the_setting():
    given = settings(set_emissivity=0.85)
    said = advice(given, display_behind_dirt(0.10, set_emissivity=0.85))
    assert "was it bumped" in said and "its lens may be dirty, which makes it read low: wipe it" in said


@pytest.mark.parametrize("error_k", [4.0, -4.0])
def test_an_offset_is_neither_a_setting_nor_a_dirty_lens(error_k):
    assert advice(settings(), display_at(0.95, error_k=error_k)) == ""


def test_an_offset_is_not_mistaken_for_an_emissivity():
    given = settings()
    assert adjustment_of(given, judged_points(run_of(given, display_at(0.95, error_k=3.0)))) is None


def test_a_hand_read_reference_gives_the_larger_uncertainty():
    by_probe = run_of(settings(), display_at(0.95), u_reference_k=0.1)
    by_hand = run_of(settings(target="taped_face", station=""), display_at(0.95), u_reference_k=0.5)
    assert judged_points(by_hand)[-1].expanded_u_k > 1.5 * judged_points(by_probe)[-1].expanded_u_k
    # The same plate and as sure a thermometer: read by hand it is less sure all the same, and says why.
    on_a_plate = run_of(settings(station=""), display_at(0.95), u_reference_k=0.1)
    assert judged_points(on_a_plate)[-1].expanded_u_k > 1.15 * judged_points(by_probe)[-1].expanded_u_k
    remark = next(words for words in paper_of(on_a_plate).remarks if "by hand" in words)
    assert "larger than with a probe" in remark and "0 to 2 %" in remark and "assumed, not measured" in remark
    assert not any("by hand" in words for words in paper_of(by_probe).remarks)


def test_a_shot_that_lies_apart_is_asked_about_and_holds_the_set_point_open():
    events = begun(settings(set_points_c=(90.0,)))
    events += [shot(value, 90.0) for value in (90.0, 90.1, 89.9, 90.0, 96.0)]
    state = state_of(events)
    assert state.doubtful is not None and state.doubtful.shown_c == 96.0
    assert not state.may_close
    with pytest.raises(ValueError, match="lacks"):
        advance(state, CLOSED)


def answer(number, counts, reason="steam in the way"):
    return Event(kind=Kind.ANSWERED, payload={"shot": number, "counts": counts, "reason": reason})


def test_a_shot_left_out_stays_in_the_record_with_its_reason():
    events = begun(settings(set_points_c=(90.0,)))
    events += [shot(value, 90.0) for value in (90.0, 90.1, 89.9, 90.0, 96.0)]
    events += [answer(5, counts=False), CLOSED]
    state = state_of(events)
    assert [one.shown_c for one in state.shots] == [90.0, 90.1, 89.9, 90.0, 96.0]
    paper = paper_of(state)
    assert isinstance(paper.body, InfraredBody)
    assert paper.body.points[0].shots_c == (90.0, 90.1, 89.9, 90.0)
    assert any("Shot 5 (96.0 °C) was left out: steam in the way" in remark for remark in paper.remarks)


def test_a_shot_kept_against_the_test_counts_and_the_paper_says_so():
    events = begun(settings(set_points_c=(90.0,)))
    events += [shot(value, 90.0) for value in (90.0, 90.1, 89.9, 90.0, 96.0)]
    events += [answer(5, counts=True, reason="looked again: it is so"), CLOSED]
    paper = paper_of(state_of(events))
    assert paper.body.points[0].shots_c[-1] == 96.0
    assert any("Grubbs" in remark and "counts" in remark for remark in paper.remarks)


def points_of(given, errors_and_u):
    """Set points of a check, each off by its own error and shot beside its own reference."""
    events = begun(given)
    for point_c, (error_k, u_reference_k) in zip(given.set_points_c, errors_and_u, strict=True):
        shown_c = display_at(0.95)(point_c) + error_k
        events += [shot(round(shown_c + step, 1), point_c, u_reference_k) for step in (0.0, 0.1, -0.1)]
        events.append(CLOSED)
    return judged_points(state_of(events))


def test_the_sentence_names_the_set_point_that_is_out_and_not_the_one_that_is_merely_unsure():
    points = points_of(settings(), [(-1.7, 0.3), (-1.0, 5.5), (-6.2, 0.9)])
    assert [point.verdict for point in points] == [
        Verdict.NOT_DECIDED,
        Verdict.NOT_DECIDED,
        Verdict.OUT_OF_TOLERANCE,
    ]
    sentence = sentence_of(points)
    assert sentence.startswith("The thermometer is outside its limits: it reads 6.2 K")
    assert "too low at 9" in sentence and "true" not in sentence


def test_by_the_simple_rule_a_thermometer_that_is_out_is_said_to_be_off_and_never_to_read_true():
    points = points_of(settings(rule="simple"), [(0.0, 0.3), (2.5, 2.0), (0.0, 0.3)])
    assert points[1].verdict is Verdict.OUT_OF_TOLERANCE and points[1].error_k < points[1].expanded_u_k
    assert "too high at 65 °C, sure to" in sentence_of(points)


def test_of_set_points_that_decide_nothing_the_least_sure_one_is_named():
    points = points_of(settings(), [(0.0, 0.3), (1.0, 2.0), (0.0, 0.3)])
    assert "lies in between" in sentence_of(points) and "at 65 °C" in sentence_of(points)


def ends_k(sentence):
    """Both ends that a sentence names, in kelvin, too high being positive."""
    found = re.findall(r"([\d.]+) K \([\d.]+ °F\)(?: too (low|high))?", sentence.partition(" at ")[0])
    sides = [side or found[-1][1] for _, side in found]
    return sorted(
        float(size) * (1 if side == "high" else -1) for (size, _), side in zip(found, sides, strict=True)
    )


def test_a_sentence_that_decides_nothing_names_ends_between_which_the_limit_really_lies():
    undecided = [(-0.4, 1.0), (0.0, 2.5), (1.9, 0.3), (-2.1, 0.3), (-1.69, 0.3)]
    for off in undecided:
        (point,) = points_of(settings(set_points_c=(65.0,)), [off])
        assert point.verdict is Verdict.NOT_DECIDED, off
        low_k, high_k = ends_k(sentence_of([point]))
        assert low_k == pytest.approx(point.error_k - point.expanded_u_k, abs=0.06)
        assert high_k == pytest.approx(point.error_k + point.expanded_u_k, abs=0.06)
        assert low_k < 2.0 < high_k or low_k < -2.0 < high_k
        assert sentence_of([point]).endswith("; the limit of 2.0 K (3.6 °F) lies in between.")


def test_a_limit_beyond_u_is_not_said_to_lie_inside_it():
    # What a check of an invented shop came to: −0.4 K ± 1.9 K against 2.0 K.
    (point,) = points_of(settings(set_points_c=(65.0,)), [(0.0, 0.3)])
    found = replace(point, error_k=-0.4, expanded_u_k=1.9, limit_k=2.0, verdict=Verdict.NOT_DECIDED)
    assert sentence_of([found]) == (
        "The thermometer may read anything between 2.3 K (4.1 °F) too low and 1.5 K (2.7 °F) too high at "
        "65 °C; the limit of 2.0 K (3.6 °F) lies in between."
    )
    close = replace(found, expanded_u_k=1.62)  # 2.02 K too low, which is not 2.0
    assert "2.02 K (3.64 °F) too low and 1.22 K" in sentence_of([close])


def test_a_check_of_before_has_its_log_read_as_it_was_asked_then():
    slip = [shot(-2.0, 0.0), shot(-1.7, 0.0), shot(5.0, 0.0)]
    assert state_of([*begun(settings()), *slip]).doubtful.number == 3
    assert state_of([*begun(settings(method_version="1")), *slip, CLOSED]).closed == 1


def test_two_shots_are_not_enough_to_go_on():
    state = state_of([*begun(settings()), shot(45.0, 45.0), shot(45.1, 45.0)])
    assert not state.may_close and point_so_far(state) is None


def test_no_shot_is_taken_before_lens_steam_setting_and_distance_were_looked_at():
    state = state_of(begun(settings())[:3])
    assert state.next_set_up is SetUp.EMISSIVITY
    with pytest.raises(ValueError, match="no shot"):
        advance(state, shot(45.0, 45.0))


def test_what_the_bath_did_between_shots_is_no_outlier_and_widens_u():
    events = begun(settings(set_points_c=(90.0,)))
    drifting = [shot(90.0 + 0.5 * index, 90.0 + 0.5 * index) for index in range(5)]
    state = state_of([*events, *drifting])
    assert state.doubtful is None
    steady = state_of([*events, *(shot(90.0, 90.0) for _ in range(5))])
    assert point_so_far(state).expanded_u_k > point_so_far(steady).expanded_u_k


def test_without_a_limit_nothing_is_stated_against_one():
    instrument = {name: value for name, value in INSTRUMENT.items() if name != "accuracy_k"}
    state = run_of(settings(instrument=instrument), display_at(0.95))
    assert paper_of(state).verdict is None
    assert "no limit" in paper_of(state).sentence


def test_the_same_events_give_the_same_check():
    events = [*begun(settings()), shot(45.0, 45.0), answer(1, counts=False)]
    assert state_of(events) == state_of(events)


def test_who_aims_with_a_laser_is_told_not_to_look_into_it_and_a_rig_s_sensor_has_none():
    for done in (3, 4):  # held at its distance, and at every shot
        card = card_of(state_of(begun(settings())[: 1 + done]))
        assert "never look into it" in card.caution and "scald" in card.caution
    sensor = [event for event in begun(settings(instrument={})) if event.payload.get("step") != "emissivity"]
    assert "laser" not in card_of(state_of(sensor)).caution
