"""Parting sender, wiring, computer and gauge, on vehicles whose faults are known."""

import math

import numpy as np
import pytest

from calibration.conformity import Verdict
from calibration.curves import load_curve
from calibration.vehicle.shown_value import Display, Place, ShownValue, SubstitutionError
from calibration.vehicle.substitution import Allowances, Part, expected_c, separate

CURVE = load_curve("ntc-2k5-20c")
WHOLE_DEGREE_U_K = 0.5 / math.sqrt(3.0)


def shown(place: Place, shown_c: float, **more: float | None) -> ShownValue:
    return ShownValue(
        place=place, display=Display.SCAN_DATA, shown_c=shown_c, u_shown_k=WHOLE_DEGREE_U_K, **more
    )


def vehicle(
    *,
    series_ohm: float = 0.0,
    leakage_ohm: float = math.inf,
    computer_k: float = 0.0,
    sender_k: float = 0.0,
    gauge_k: float = 0.0,
    settings: tuple[float, ...] = (187.0, 243.0, 436.0),
    rounded: bool = True,
) -> list[ShownValue]:
    """Values that a vehicle with these faults would show, in whole degrees."""

    def display(seen_ohm: float) -> float:
        value_c = expected_c(CURVE, seen_ohm) + computer_k
        return float(round(value_c)) if rounded else value_c

    def through_wiring(resistance_ohm: float) -> float:
        return series_ohm + 1.0 / (1.0 / resistance_ohm + 1.0 / leakage_ohm)

    values = []
    for ohm in settings:
        values.append(shown(Place.AT_COMPUTER, display(ohm), resistance_ohm=ohm, u_resistance_ohm=0.3))
        values.append(
            shown(
                Place.AT_SENDER_PLUG, display(through_wiring(ohm)), resistance_ohm=ohm, u_resistance_ohm=0.3
            )
        )
    true_c = 90.0
    fitted_c = display(through_wiring(CURVE.resistance_ohm(true_c + sender_k)))
    values.append(shown(Place.SENDER_FITTED, fitted_c, true_c=true_c, u_true_k=0.5))
    values.append(
        ShownValue(
            place=Place.SENDER_FITTED,
            display=Display.GAUGE,
            shown_c=fitted_c + gauge_k,
            u_shown_k=1.5,
            true_c=true_c,
            u_true_k=0.5,
        )
    )
    return values


def verdicts(findings) -> dict[Part, Verdict]:
    return {finding.part: finding.verdict for finding in findings}


def test_a_sound_vehicle_is_sound_in_every_part() -> None:
    found = separate(CURVE, vehicle(), allowances=Allowances(wiring_k=1.0))
    assert verdicts(found) == dict.fromkeys(
        (Part.COMPUTER, Part.WIRING, Part.SENDER, Part.GAUGE), Verdict.IN_TOLERANCE
    )
    assert all("sound" in finding.words for finding in found)


@pytest.mark.parametrize(
    ("fault", "part"),
    [
        ({"computer_k": 6.0}, Part.COMPUTER),
        ({"series_ohm": 40.0}, Part.WIRING),
        ({"leakage_ohm": 800.0}, Part.WIRING),
        ({"sender_k": -8.0}, Part.SENDER),
        ({"gauge_k": -14.0}, Part.GAUGE),
    ],
)
def test_the_part_that_is_off_is_named_and_no_other(fault: dict[str, float], part: Part) -> None:
    found = separate(CURVE, vehicle(**fault))
    off = [finding for finding in found if finding.verdict is Verdict.OUT_OF_TOLERANCE]
    assert [finding.part for finding in off] == [part]
    assert off[0].next_action
    assert "K" in off[0].words


def test_one_wire_by_hand() -> None:
    """56 Ω in line with 187 Ω are 243 Ω: the printed table shows 90 °C where 100 °C was dialled."""
    values = [
        shown(Place.AT_COMPUTER, 100.0, resistance_ohm=187.0),
        shown(Place.AT_SENDER_PLUG, 90.0, resistance_ohm=187.0),
    ]
    computer, wiring = separate(CURVE, values)
    assert computer.size_k == pytest.approx(0.0, abs=1e-9)
    assert wiring.size_k == pytest.approx(-10.0)
    assert wiring.expanded_u_k == pytest.approx(2.0 * math.hypot(WHOLE_DEGREE_U_K, WHOLE_DEGREE_U_K))
    assert wiring.series_ohm is not None and wiring.leakage_ohm is None
    assert wiring.series_ohm[0] == pytest.approx(56.0, abs=0.1)
    assert "in line" in wiring.words
    # U is 2 · √2 · 0.5 / √3 = 0.816 K, and each number stands to the place that U reaches (JCGM 100, 7.2.6).
    assert "-10.00 ± 0.82 K" in wiring.words and "0.00 ± 0.58 K" in computer.words


def test_a_leak_by_hand() -> None:
    """243 Ω with 811.4 Ω to ground are 187 Ω: 100 °C is shown where 90 °C was dialled."""
    values = [
        shown(Place.AT_COMPUTER, 90.0, resistance_ohm=243.0),
        shown(Place.AT_SENDER_PLUG, 100.0, resistance_ohm=243.0),
    ]
    wiring = separate(CURVE, values)[1]
    assert wiring.leakage_ohm is not None and wiring.series_ohm is None
    assert wiring.leakage_ohm[0] == pytest.approx(1.0 / (1 / 187 - 1 / 243), rel=1e-3)
    assert "moisture" in wiring.words


def test_the_box_falls_out_of_the_wiring_but_not_of_the_computer() -> None:
    values = [
        shown(place, 90.0, resistance_ohm=243.0, u_resistance_ohm=20.0)
        for place in (Place.AT_COMPUTER, Place.AT_SENDER_PLUG)
    ]
    computer, wiring = separate(CURVE, values)
    assert computer.expanded_u_k > 5.0
    assert wiring.expanded_u_k < 1.0


def test_without_the_plug_sender_and_wiring_are_named_together() -> None:
    values = [
        shown(Place.AT_COMPUTER, 90.0, resistance_ohm=243.0),
        shown(Place.SENDER_FITTED, 80.0, true_c=90.0, u_true_k=0.5),
    ]
    found = separate(CURVE, values)
    assert [one.part for one in found] == [Part.COMPUTER, Part.SENDER_AND_WIRING]
    assert "sender's plug" in found[1].next_action


@pytest.mark.slow
def test_the_intervals_contain_the_truth_on_vehicles_drawn_at_random() -> None:
    """2,000 vehicles with every part off by chance, shown in whole degrees, the box off its setting."""
    chance = np.random.default_rng(31)
    hits: dict[Part, list[bool]] = {part: [] for part in (Part.COMPUTER, Part.SENDER)}
    for _ in range(2000):
        computer_k, sender_k = chance.uniform(-6.0, 6.0, 2)
        box = 1.0 + chance.normal(0.0, 0.003)
        values = []
        for ohm in (187.0, 243.0, 330.0):
            value_c = round(expected_c(CURVE, ohm * box) + computer_k)
            for place in (Place.AT_COMPUTER, Place.AT_SENDER_PLUG):
                values.append(shown(place, value_c, resistance_ohm=ohm, u_resistance_ohm=0.003 * ohm))
        true_c = 90.0 + chance.normal(0.0, 0.5)
        fitted_c = round(expected_c(CURVE, CURVE.resistance_ohm(true_c + sender_k)) + computer_k)
        values.append(shown(Place.SENDER_FITTED, fitted_c, true_c=90.0, u_true_k=0.5))
        for finding in separate(CURVE, values):
            if finding.part in hits:
                truth = computer_k if finding.part is Part.COMPUTER else sender_k
                hits[finding.part].append(abs(finding.size_k - truth) <= finding.expanded_u_k)
    assert all(np.mean(one) >= 0.945 for one in hits.values())


def test_a_display_of_tens_cannot_tell_and_says_so() -> None:
    coarse = ShownValue(
        place=Place.AT_COMPUTER,
        display=Display.SCAN_DATA,
        shown_c=90.0,
        u_shown_k=5.0 / math.sqrt(3.0),
        resistance_ohm=243.0,
    )
    (computer,) = separate(CURVE, [coarse])
    assert computer.verdict is Verdict.NOT_DECIDED
    assert "cannot tell" in computer.words


def test_what_a_part_may_add_is_the_reader_s_to_say() -> None:
    values = vehicle(computer_k=2.5)
    strict, generous = (
        verdicts(separate(CURVE, values, allowances=Allowances(computer_k=limit)))[Part.COMPUTER]
        for limit in (1.0, 6.0)
    )
    assert strict is Verdict.OUT_OF_TOLERANCE
    assert generous is Verdict.IN_TOLERANCE


def test_values_that_part_nothing_are_refused_with_what_to_read() -> None:
    with pytest.raises(SubstitutionError, match="computer's connector"):
        separate(CURVE, [shown(Place.SENDER_FITTED, 80.0, true_c=90.0, u_true_k=0.5)])


@pytest.mark.parametrize(
    "wrong",
    [
        {"place": Place.AT_COMPUTER},
        {"place": Place.SENDER_FITTED, "resistance_ohm": 243.0},
        {"place": Place.AT_COMPUTER, "resistance_ohm": 243.0, "u_shown_k": 0.0},
    ],
)
def test_a_value_whose_cause_is_not_said_is_refused(wrong: dict) -> None:
    usual = {"display": Display.SCAN_DATA, "shown_c": 90.0, "u_shown_k": 0.3}
    with pytest.raises(SubstitutionError):
        ShownValue(**{**usual, **wrong})
