"""The range by expected error, beside the rig's own choice."""

import math

import pytest

from calibration.resistance.circuit import Circuit
from calibration.resistance.range_choice import (
    MeasuringRange,
    RangeChoiceError,
    best_range,
    expected_relative_error,
    regret,
)
from rig.drivers.range_choice import choose_range
from rig.wiring import load_wiring

WIRING = load_wiring()
CHANNEL = WIRING.channels["sender"]
RANGES = [
    MeasuringRange(
        circuit=Circuit(
            source_v=WIRING.converter.reference_v,
            reference_ohm=each.reference_ohm,
            ballast_ohm=each.ballast_ohm,
            lift_ohm=CHANNEL.lift_ohm(each),
        ),
        lowest_ohm=WIRING.reportable.span_ohm(each)[0],
        highest_ohm=WIRING.reportable.span_ohm(each)[1],
    )
    for each in CHANNEL.free_ranges
]
LOWEST_OHM = min(one.lowest_ohm for one in RANGES)
HIGHEST_OHM = max(one.highest_ohm for one in RANGES)
RESISTANCES = [LOWEST_OHM * (HIGHEST_OHM / LOWEST_OHM) ** (n / 200) for n in range(1, 200)]


def test_the_error_is_the_propagation_of_three_independent_taps() -> None:
    """Worked by difference quotients of R = R_ref (c1 - c2)/(c0 - c1)."""
    circuit = RANGES[1].circuit
    levels = circuit.levels_count([250.0], circuit.reference_ohm)[0]
    # The switch is outside the ratio and is left out of the expected error: 4 Ω of 1119.
    scale = (circuit.source_v / circuit.excitation.current_a(250.0) + circuit.switch_ohm) / (
        circuit.source_v / circuit.excitation.current_a(250.0)
    )

    def resistance(c0: float, c1: float, c2: float) -> float:
        return circuit.reference_ohm * (c1 - c2) / (c0 - c1)

    step, total = 1e-3, 0.0
    for tap in range(3):
        moved = levels.copy()
        moved[tap] += step
        total += ((resistance(*moved) - resistance(*levels)) / step * 0.12) ** 2
    assert expected_relative_error(circuit, 250.0) * scale == pytest.approx(
        math.sqrt(total) / 250.0, rel=1e-3
    )


def test_the_rig_s_choice_errs_at_most_a_quarter_more_than_the_best() -> None:
    """The rig keeps its range until another is a fifth better, so that a sender does not flutter."""
    by_reference = {one.circuit.reference_ohm: one for one in RANGES}
    worst = 0.0
    for resistance_ohm in RESISTANCES:
        for current in CHANNEL.free_ranges:
            rig = choose_range(
                CHANNEL, current=current, estimate_ohm=resistance_ohm, reportable=WIRING.reportable
            )
            worst = max(worst, regret(by_reference[rig.reference_ohm], RANGES, resistance_ohm))
    assert 0.0 < worst < 0.25


def test_a_sender_is_read_on_the_large_reference_when_cold_and_the_small_one_when_hot() -> None:
    assert best_range(RANGES, 2000.0).circuit.reference_ohm == 2700.0
    assert best_range(RANGES, 200.0).circuit.reference_ohm == 750.0


def test_the_best_range_has_no_regret_and_always_may_report() -> None:
    for resistance_ohm in RESISTANCES:
        best = best_range(RANGES, resistance_ohm)
        assert best.reports(resistance_ohm)
        assert regret(best, RANGES, resistance_ohm) == 0.0


def test_a_resistance_beyond_every_range_is_refused_with_the_span() -> None:
    with pytest.raises(RangeChoiceError, match="132 to 15300"):
        best_range(RANGES, 20.0)
