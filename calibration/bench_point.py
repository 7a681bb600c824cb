"""One plateau on the bench: from ratio counts of sender and probe to a judged point."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.bath.plateau import PlateauMean, plateau_mean
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
from calibration.uncertainty.line import rectangular, student

__all__ = [
    "PROBE_DISSIPATION_W_PER_K",
    "SENDER_DISSIPATION_W_PER_K",
    "BenchPoint",
    "BenchPointError",
    "BenchSetup",
    "Plateau",
    "is_held_long_enough",
    "judge_plateau",
    "sender_error",
]

#: Largest difference between the lags of sender and probe that a slow drift is charged with. [s]
LAG_DIFFERENCE_S = 20.0

#: Expanded uncertainty that wander slower than the plateau may leave in its mean: twice what the most
#: restless of the benchmark's baths leave in a minute. [K]
LARGEST_WANDER_U_K = 0.10


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
        If a range was not checked, the probe's certificate does not cover the plateau, or the plateau is too
        short for the wander of its bath.
    """
    error = sender_error(plateau, setup)
    if not is_held_long_enough(error):
        raise BenchPointError(
            f"The difference between sender and probe wandered too slowly for this plateau: its mean is "
            f"uncertain by {error.expanded_u:.2f} K, the limit is {LARGEST_WANDER_U_K:g} K. Hold the plateau "
            "longer, stir more, and see that probe and sender hang side by side."
        )
    correction = setup.sender_correction(plateau.sender_range_ohm)
    sender_ohm = _mean([correction.corrected_ohm(count) for count in plateau.sender_count])
    probe_ohm = [setup.probe_correction.corrected_ohm(count) for count in plateau.probe_count]
    drift_k = abs(plateau.slope_k_per_min) / 60.0 * LAG_DIFFERENCE_S
    stand = Stand(
        sender_count=_mean(plateau.sender_count),
        probe_count=_mean(plateau.probe_count),
        sender_range_ohm=plateau.sender_range_ohm,
        sender_ohm=sender_ohm,
        probe_ohm=_mean(probe_ohm),
        probe_c=_mean([setup.probe.temperature_c(ohm) for ohm in probe_ohm]),
        air_c=plateau.air_c,
        movement=(
            rectangular("bath: drift and lag", 0.0, "K", drift_k, 1.0),
            student("repeatability", error.mean, "K", error.standard_u, 1.0, error.degrees_of_freedom),
        ),
        # What the bath does to both is no scatter of the resistance at the bath's temperature.
        u_scatter_ohm=error.standard_u / abs(setup.curve.sensitivity_k_per_ohm(sender_ohm)),
    )
    return judge_stand(stand, setup, rule=rule, limit_k=limit_k)


def sender_error(plateau: Plateau, setup: BenchSetup) -> PlateauMean:
    """Mean of what the curve makes of the sender less what the probe shows, before any correction. [K]

    Taken reading by reading: what the bath does to both is in neither mean nor uncertainty.
    """
    correction = setup.sender_correction(plateau.sender_range_ohm)
    probe_c = [
        setup.probe.temperature_c(setup.probe_correction.corrected_ohm(count))
        for count in plateau.probe_count
    ]
    bath_c = _mean(probe_c)
    return plateau_mean(
        [
            setup.curve.indicated_c(correction.corrected_ohm(count), at_c=bath_c) - t
            for count, t in zip(plateau.sender_count, probe_c, strict=True)
        ]
    )


def is_held_long_enough(error: PlateauMean) -> bool:
    """False where wander that a plateau is too short for leaves its mean too uncertain."""
    return not (error.is_too_short and error.expanded_u > LARGEST_WANDER_U_K)


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values)
