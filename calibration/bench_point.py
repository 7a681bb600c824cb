"""One plateau on the bench: from ratio counts of sender and probe to a judged point."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.bath.plateau import plateau_mean
from calibration.bench_stand import (
    PROBE_DISSIPATION_W_PER_K,
    SENDER_DISSIPATION_W_PER_K,
    BenchPoint,
    BenchPointError,
    BenchSetup,
    Stand,
    judge_stand,
)
from calibration.conformity import DecisionRule
from calibration.resistance.three_tap import ohm_per_count
from calibration.uncertainty.line import rectangular, student

__all__ = [
    "PROBE_DISSIPATION_W_PER_K",
    "SENDER_DISSIPATION_W_PER_K",
    "BenchPoint",
    "BenchPointError",
    "BenchSetup",
    "Plateau",
    "judge_plateau",
]

#: Largest difference between the lags of sender and probe that a slow drift is charged with. [s]
LAG_DIFFERENCE_S = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Plateau:
    """Readings of one plateau, in order and equally spaced.

    Attributes
    ----------
    sender_count, probe_count : tuple[float, ...]
        Ratio counts 4096 x. [count]
    sender_range_ohm : float
        Nominal reference resistor the sender was read on. [Ω]
    slope_k_per_min : float
        Of the probe over the plateau. [K/min]
    air_c : float
        Air beside the bath. [°C]
    """

    sender_count: tuple[float, ...]
    probe_count: tuple[float, ...]
    sender_range_ohm: float
    slope_k_per_min: float
    air_c: float


def judge_plateau(
    plateau: Plateau, setup: BenchSetup, *, rule: DecisionRule, limit_k: float | None
) -> BenchPoint:
    """Judge one plateau against the reference curve.

    Parameters
    ----------
    plateau : Plateau
    setup : BenchSetup
    rule : DecisionRule
    limit_k : float or None
        Limit in place of the curve's own tolerance. [K]

    Raises
    ------
    BenchPointError
        If a range was not checked, or the probe's certificate does not cover the plateau.
    """
    correction = setup.sender_correction(plateau.sender_range_ohm)
    sender_ohm = [correction.corrected_ohm(count) for count in plateau.sender_count]
    probe_ohm = [setup.probe_correction.corrected_ohm(count) for count in plateau.probe_count]
    probe_c = [setup.probe.temperature_c(ohm) for ohm in probe_ohm]
    bath_c = _mean(probe_c)
    error = plateau_mean(
        [setup.curve.indicated_c(ohm, at_c=bath_c) - t for ohm, t in zip(sender_ohm, probe_c, strict=True)]
    )
    sender_count = _mean(plateau.sender_count)
    drift_k = abs(plateau.slope_k_per_min) / 60.0 * LAG_DIFFERENCE_S
    stand = Stand(
        sender_count=sender_count,
        probe_count=_mean(plateau.probe_count),
        sender_range_ohm=plateau.sender_range_ohm,
        sender_ohm=_mean(sender_ohm),
        probe_ohm=_mean(probe_ohm),
        probe_c=bath_c,
        air_c=plateau.air_c,
        movement=(
            rectangular("bath: drift and lag", 0.0, "K", drift_k, 1.0),
            student("repeatability", error.mean, "K", error.standard_u, 1.0, error.degrees_of_freedom),
        ),
        u_scatter_ohm=plateau_mean(plateau.sender_count).standard_u
        * ohm_per_count(sender_count, correction.reference_ohm),
    )
    return judge_stand(stand, setup, rule=rule, limit_k=limit_k)


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values)
