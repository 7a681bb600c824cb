"""A loop on the bench: from ratio counts along one heating to judged points anywhere on the way.

The fit gives the pair (resistance, temperature by the probe) that a plateau would have given; from there on
corrections and budget are those of a plateau (`calibration.bench_stand`), with the lines of noise and
movement of the bath exchanged for those of the fit.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.bath.identifiability import MODEL_DOUBT_S
from calibration.bath.loop import LoopFit, fit_loop
from calibration.bench_stand import BenchPoint, BenchPointError, BenchSetup, Stand, judge_stand
from calibration.conformity import DecisionRule
from calibration.resistance.three_tap import FULL_SCALE_COUNT, ratio_count
from calibration.uncertainty.budget import BudgetLine
from calibration.uncertainty.line import rectangular, student


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchLoop:
    """Readings of a loop, in order.

    Attributes
    ----------
    time_s : tuple[float, ...]
        Rig time. [s]
    sender_count, probe_count : tuple[float, ...]
        Ratio counts 4096 x. [count]
    sender_range_ohm : tuple[float, ...]
        Nominal reference resistor the sender was read on, reading by reading. [Ω]
    air_c : float
        Air beside the bath. [°C]
    heater_off : tuple[tuple[float, float], ...] or None
        When the heater was off between heatings and after the last; None where not noted. [s]
    """

    time_s: tuple[float, ...]
    sender_count: tuple[float, ...]
    probe_count: tuple[float, ...]
    sender_range_ohm: tuple[float, ...]
    air_c: float
    heater_off: tuple[tuple[float, float], ...] | None = None


def fit_bench_loop(loop: BenchLoop, setup: BenchSetup) -> LoopFit:
    """Fit curve and lags to the readings of a loop.

    Parameters
    ----------
    loop : BenchLoop
    setup : BenchSetup

    Raises
    ------
    BenchPointError
        If a range was not checked, or the probe's certificate does not cover the loop.
    LoopError
        If the readings are no loop, or do not tell the lags from the curve.
    """
    corrections = {ohm: setup.sender_correction(ohm) for ohm in set(loop.sender_range_ohm)}
    sender_ohm = [
        corrections[range_ohm].corrected_ohm(count)
        for range_ohm, count in zip(loop.sender_range_ohm, loop.sender_count, strict=True)
    ]
    probe_c = [
        setup.probe.temperature_c(setup.probe_correction.corrected_ohm(count)) for count in loop.probe_count
    ]
    for reached_c in (min(probe_c), max(probe_c)):
        if not setup.probe.covers(reached_c):
            raise BenchPointError(
                f"The bath stood at {reached_c:.2f} °C, the probe's certificate covers "
                f"{setup.probe.valid_from_c:g} to {setup.probe.valid_to_c:g} °C. Stay inside it."
            )
    return fit_loop(loop.time_s, probe_c, sender_ohm, heater_off=loop.heater_off)


def judge_loop(
    fit: LoopFit,
    loop: BenchLoop,
    setup: BenchSetup,
    *,
    temperatures_c: Sequence[float],
    rule: DecisionRule,
    limit_k: float | None,
) -> tuple[BenchPoint, ...]:
    """Judge a loop at chosen temperatures of its range.

    Parameters
    ----------
    fit : LoopFit
        Of the same readings.
    loop : BenchLoop
    setup : BenchSetup
    temperatures_c : sequence of float
        By the probe's certificate. [°C]
    rule : DecisionRule
    limit_k : float or None
        Limit in place of the curve's own tolerance. [K]

    Raises
    ------
    CurveRangeError
        If a temperature lies outside the loop or the reference curve.
    """
    return tuple(
        judge_stand(_stand(fit, loop, setup, probe_c), setup, rule=rule, limit_k=limit_k)
        for probe_c in temperatures_c
    )


def _stand(fit: LoopFit, loop: BenchLoop, setup: BenchSetup, probe_c: float) -> Stand:
    sender_ohm = fit.resistance_ohm(probe_c)
    probe_ohm = setup.probe.curve.resistance_ohm(probe_c)
    range_ohm = _range_near(loop, sender_ohm)
    noise_k = fit.standard_u_k(probe_c)
    slope = abs(fit.curve.sensitivity_k_per_ohm(sender_ohm))
    return Stand(
        sender_count=ratio_count(sender_ohm, range_ohm),
        probe_count=ratio_count(probe_ohm, setup.probe_correction.reference_ohm),
        sender_range_ohm=range_ohm,
        sender_ohm=sender_ohm,
        probe_ohm=probe_ohm,
        probe_c=probe_c,
        air_c=loop.air_c,
        movement=_movement(fit, noise_k),
        u_scatter_ohm=noise_k / slope,
    )


def _range_near(loop: BenchLoop, sender_ohm: float) -> float:
    """Range the sender was read on where it had about that resistance. [Ω]"""
    counts, ranges = np.array(loop.sender_count), np.array(loop.sender_range_ohm)
    about_ohm = ranges * counts / (FULL_SCALE_COUNT - counts)
    return float(ranges[np.argmin(np.abs(about_ohm - sender_ohm))])


def _movement(fit: LoopFit, noise_k: float) -> tuple[BudgetLine, ...]:
    """Noise as the fit found it, and what a second body in the sender hides from it."""
    hidden_k = fit.heating.rate_k_per_min / 60.0 * MODEL_DOUBT_S
    return (
        rectangular("loop: a further body", 0.0, "K", hidden_k, 1.0),
        student("loop: noise and lags", 0.0, "K", noise_k, 1.0, fit.degrees_of_freedom),
    )
