"""One sender-check point by trials: the bench's Monte Carlo and metrolopy's, a general uncertainty package.

The same nonlinear model, the same inputs with the same shapes, the same number of trials, and from both the
standard deviation and the shortest 95.45 % interval.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from calibration.temperature_scale import ZERO_CELSIUS_K
from calibration.uncertainty.budget import COVERAGE_PROBABILITY, Distribution, rectangular_u
from calibration.uncertainty.monte_carlo import FloatArray, Input, simulate

#: Steinhart-Hart coefficients of an invented 2.5 kΩ part, rounded.
_A, _B, _C = 1.335e-3, 2.61e-4, 1.5e-7
_SENDER_OHM, _SENDER_U_OHM = 239.5, 0.06
_PROBE_C, _PROBE_U_K = 90.0, 0.025
_STEM_K, _STEM_HALF_WIDTH_K = 0.10, 0.10
_GRADIENT_HALF_WIDTH_K = 0.06
_REPEATABILITY_U_K, _REPEATABILITY_DOF = 0.008, 14.0
_HEATING_K, _HEATING_HALF_WIDTH_K = 0.012, 0.007


@dataclass(frozen=True, slots=True, kw_only=True)
class PointByTrials:
    """What trials say of the error of a sender.

    Attributes
    ----------
    standard_u_k : float
        [K]
    half_interval_k : float
        Half of the shortest 95.45 % interval. [K]
    """

    standard_u_k: float
    half_interval_k: float


def by_the_bench(trials: int, seed: int) -> PointByTrials:
    """By `calibration.uncertainty.monte_carlo`."""
    found = simulate(_error_k, _inputs(), seed=seed, trials=trials)
    return PointByTrials(standard_u_k=found.standard_u, half_interval_k=found.expanded_u)


def by_metrolopy(trials: int, seed: int) -> PointByTrials:
    """By metrolopy's quantities, as its users write them."""
    # A development package: only this benchmark needs it.
    import metrolopy

    metrolopy.Distribution.set_seed(seed)
    ohm = metrolopy.gummy(_SENDER_OHM, u=_SENDER_U_OHM)
    probe = metrolopy.gummy(_PROBE_C, u=_PROBE_U_K)
    stem = metrolopy.gummy(metrolopy.UniformDist(center=_STEM_K, half_width=_STEM_HALF_WIDTH_K))
    gradient = metrolopy.gummy(metrolopy.UniformDist(center=0.0, half_width=_GRADIENT_HALF_WIDTH_K))
    heating = metrolopy.gummy(metrolopy.UniformDist(center=_HEATING_K, half_width=_HEATING_HALF_WIDTH_K))
    repeatability = metrolopy.gummy(0.0, u=_REPEATABILITY_U_K, dof=_REPEATABILITY_DOF)
    log_ohm = metrolopy.log(ohm)
    indicated_c = 1.0 / (_A + _B * log_ohm + _C * log_ohm**3) - ZERO_CELSIUS_K
    error_k = indicated_c - probe + stem + gradient - heating + repeatability
    metrolopy.gummy.simulate([error_k], n=trials)
    error_k.p = COVERAGE_PROBABILITY
    low, high = error_k.cisim
    return PointByTrials(standard_u_k=float(error_k.usim), half_interval_k=0.5 * float(high - low))


def _inputs() -> Mapping[str, Input]:
    def rectangle(centre: float, half_width: float) -> Input:
        return Input(
            estimate=centre, standard_u=rectangular_u(half_width), distribution=Distribution.RECTANGULAR
        )

    return {
        "ohm": Input(estimate=_SENDER_OHM, standard_u=_SENDER_U_OHM),
        "probe": Input(estimate=_PROBE_C, standard_u=_PROBE_U_K),
        "stem": rectangle(_STEM_K, _STEM_HALF_WIDTH_K),
        "gradient": rectangle(0.0, _GRADIENT_HALF_WIDTH_K),
        "heating": rectangle(_HEATING_K, _HEATING_HALF_WIDTH_K),
        "repeatability": Input(
            estimate=0.0,
            standard_u=_REPEATABILITY_U_K,
            distribution=Distribution.STUDENT,
            degrees_of_freedom=_REPEATABILITY_DOF,
        ),
    }


def _error_k(drawn: Mapping[str, FloatArray]) -> FloatArray:
    log_ohm = np.log(drawn["ohm"])
    indicated_c = 1.0 / (_A + log_ohm * (_B + _C * log_ohm**2)) - ZERO_CELSIUS_K
    corrections_k = drawn["stem"] + drawn["gradient"] - drawn["heating"] + drawn["repeatability"]
    return np.asarray(indicated_c - drawn["probe"] + corrections_k)
