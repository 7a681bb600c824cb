"""What each fault does to a sender's resistance at its terminals, as a function of the fault's size.

A fault of one size moves ``ln R`` at every temperature (shape ``(sizes, n)``). A change in the element itself
reaches the terminals by a share, which series resistance and leakage make less than one.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from calibration.diagnosis.curve_view import CurveView
from calibration.diagnosis.fault import Fault
from calibration.diagnosis.measured_points import Matrix, Vector
from calibration.temperature_scale import ZERO_CELSIUS_K

#: From (view, sizes) to the shift of ``ln R`` and the share of the element's changes, both ``(sizes, n)``.
Effect: TypeAlias = Callable[[CurveView, Vector], tuple[Matrix, Matrix]]
#: Prior density over ``ln size``, not normalised.
Density: TypeAlias = Callable[[Vector], Vector]
#: From (view, sizes, shift) to the standard uncertainty of the shift at each temperature, ``(sizes, n)``.
Unevenness: TypeAlias = Callable[[CurveView, Vector, Matrix], Matrix]

#: Air beside the bath, where nobody said: it enters the stem alone. [°C]
USUAL_AIR_C = 22.0
#: Half of all stems lead away less than this share of (t - air): between the 0.3 % of a hex under water and
#: the 1.3 % of a hex in air, 25 mm deep, both from simulation. Assumed.
STEM_SHARE_SCALE = 0.006
#: Half of all thermometers, or the places where they hang, are off by less. Assumed. [K]
THERMOMETER_SCALE_K = 1.0
#: How far stem and thermometer keep from their simple laws at one temperature, relative to the error itself:
#: no thermometer is off by the same amount everywhere. Assumed.
UNEVEN = 0.05
#: How far the air beside a hot bath is from what it was taken to be, new at every reading: it moves, and
#: rises along the jug. A stem leads that much more or less away, also where the bath is hardly warmer than
#: the air. Standard uncertainty, assumed. [K]
AIR_MOVES_K = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Branch:
    """One way for a fault to act, with the prior of its size.

    Attributes
    ----------
    fault : Fault
    variant : str
        Which way, where a fault has several.
    sign : float
        Sizes are ``sign * magnitude``.
    effect : Effect
    smallest, largest : float
        Magnitudes considered, in the unit of the computation.
    density : Density or None
        Over ``ln magnitude``. None where nothing is known of it: every order of magnitude that these points
        could show is then as likely as any other.
    uneven : Unevenness or None
        How surely the shift follows its simple law.
    reported : callable
        Size as reported from the size as computed.
    unit : str
        Of the reported size.
    """

    fault: Fault
    variant: str
    sign: float
    effect: Effect
    smallest: float
    largest: float
    density: Density | None
    reported: Callable[[float], float]
    unit: str
    uneven: Unevenness | None = None


def r25_effect(view: CurveView, sizes: Vector) -> tuple[Matrix, Matrix]:
    """R25 times ``1 + size``."""
    return np.outer(np.log1p(sizes), np.ones(view.count)), np.ones((sizes.size, view.count))


def beta_effect(view: CurveView, sizes: Vector) -> tuple[Matrix, Matrix]:
    """Beta times ``1 + size``, R25 as it was."""
    return np.outer(sizes, view.part_shapes[:, 1]), np.ones((sizes.size, view.count))


def series_effect(view: CurveView, sizes: Vector) -> tuple[Matrix, Matrix]:
    """``size`` ohms in series with the element."""
    relative = sizes[:, np.newaxis] / view.resistance_ohm
    return np.log1p(relative), 1.0 / (1.0 + relative)


def leakage_effect(view: CurveView, sizes: Vector) -> tuple[Matrix, Matrix]:
    """A path of ``1/size`` ohms beside the element; the size is its conductance. [S]"""
    relative = sizes[:, np.newaxis] * view.resistance_ohm
    return -np.log1p(relative), 1.0 / (1.0 + relative)


def thermometer_effect(view: CurveView, sizes: Vector) -> tuple[Matrix, Matrix]:
    """A thermometer that shows ``size`` kelvin too much at every temperature."""
    colder_k = np.outer(sizes, np.ones(view.count))
    return _colder(view, colder_k), np.ones(colder_k.shape)


def stem_effect(air_c: float) -> Effect:
    """A sender colder than the bath by the share ``size`` of (t - air)."""

    def effect(view: CurveView, sizes: Vector) -> tuple[Matrix, Matrix]:
        colder_k = np.outer(sizes, view.temperature_c - air_c)
        return _colder(view, colder_k), np.ones(colder_k.shape)

    return effect


def _colder(view: CurveView, colder_k: Matrix) -> Matrix:
    """Shift of ``ln R`` of a sender colder than it was taken to be, with the beta the curve has there."""
    temperature_k = view.temperature_c + ZERO_CELSIUS_K
    return -view.slope_per_k * colder_k * temperature_k / (temperature_k - colder_k)


def branches_of(fault: Fault, air_c: float) -> tuple[Branch, ...]:
    """The ways a fault of some size may act; empty for faults without a size."""
    percent = _percent
    if fault is Fault.R25:
        return (
            Branch(
                fault=fault, variant="high", sign=1.0, effect=r25_effect, smallest=0.005, largest=1.0,
                density=None, reported=percent, unit="%",
            ),
            Branch(
                fault=fault, variant="low", sign=-1.0, effect=r25_effect, smallest=0.005, largest=0.6,
                density=None, reported=percent, unit="%",
            ),
        )  # fmt: skip
    if fault is Fault.BETA:
        return tuple(
            Branch(
                fault=fault, variant=variant, sign=sign, effect=beta_effect, smallest=0.001, largest=0.25,
                density=None, reported=percent, unit="%",
            )
            for variant, sign in (("steeper", 1.0), ("flatter", -1.0))
        )  # fmt: skip
    if fault is Fault.SERIES:
        return (
            Branch(
                fault=fault, variant="", sign=1.0, effect=series_effect, smallest=0.1, largest=5e3,
                density=None, reported=_as_it_is, unit="ohm",
            ),
        )  # fmt: skip
    if fault is Fault.LEAKAGE:
        return (
            Branch(
                fault=fault, variant="", sign=1.0, effect=leakage_effect, smallest=1e-8, largest=1e-2,
                density=None, reported=_inverse, unit="ohm",
            ),
        )  # fmt: skip
    if fault is Fault.STEM_OR_THERMOMETER:
        stem = Branch(
            fault=fault, variant="stem", sign=1.0, effect=stem_effect(air_c), smallest=1e-4, largest=0.05,
            density=_wide(STEM_SHARE_SCALE), reported=percent, unit="% of (bath - air)", uneven=_uneven_stem,
        )  # fmt: skip
        thermometer = tuple(
            Branch(
                fault=fault, variant=variant, sign=sign, effect=thermometer_effect, smallest=0.01,
                largest=10.0, density=_wide(THERMOMETER_SCALE_K), reported=_as_it_is, unit="K",
                uneven=_uneven,
            )
            for variant, sign in (("thermometer high", 1.0), ("thermometer low", -1.0))
        )  # fmt: skip
        return (stem, *thermometer)
    return ()


def _uneven(view: CurveView, sizes: Vector, shift: Matrix) -> Matrix:
    return UNEVEN * np.abs(shift)


def _uneven_stem(view: CurveView, sizes: Vector, shift: Matrix) -> Matrix:
    by_air = np.outer(np.abs(sizes) * AIR_MOVES_K, np.abs(view.slope_per_k))
    uneven: Matrix = np.hypot(UNEVEN * shift, by_air)
    return uneven


def _wide(scale: float) -> Density:
    """Density of a half-Cauchy magnitude, over its logarithm: usual up to the scale, and gross now and then.

    References
    ----------
    A. Gelman, Bayesian Analysis 1 (2006) 515-534, section 3.2: the half-Cauchy as a weakly informative prior
    of a magnitude.
    """

    def density(magnitude: Vector) -> Vector:
        return magnitude / scale / (1.0 + (magnitude / scale) ** 2)

    return density


def _percent(size: float) -> float:
    return 100.0 * size


def _as_it_is(size: float) -> float:
    return size


def _inverse(size: float) -> float:
    return 1.0 / size if size > 0.0 else math.inf
