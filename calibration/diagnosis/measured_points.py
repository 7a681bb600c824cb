"""Measured points of a sender with the covariance between them, whatever they were measured with."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from calibration.curves import ReferenceCurve
from calibration.diagnosis.dead_circuit import DeadPoint
from calibration.sender_point import SenderPoint
from calibration.thermistor.fit_point import FitPoint
from calibration.uncertainty.budget import BudgetLine

Vector: TypeAlias = NDArray[np.float64]
Matrix: TypeAlias = NDArray[np.float64]

#: One thermometer and one place in the kettle stand behind all points of a hand check: half of the variance
#: of its readings is taken as common to all of them. Assumed.
HAND_COMMON_SHARE = 0.5

#: What an equation of three terms leaves of a real part between 20 and 100 °C. Assumed. [K]
EQUATION_LEAVES_K = 0.005

#: Share of a budget line's variance that all plateaus of a run have in common, by the line's name. A
#: certificate, a box or a clip is the same one all day; noise is new each time; an ohms check's correction
#: is smooth in counts, so that it moves neighbours together and far points apart. A line that is not named
#: here is new at every plateau.
COMMON_SHARES = {
    "probe: its certificate": 1.0,
    "probe: self-heating": 1.0,
    "probe: ohms check": 0.5,
    "probe: since its ohms check": 1.0,
    "sender: self-heating": 1.0,
    "sender: self-heating, by two currents": 1.0,
    "sender: ohms check": 0.5,
    "sender: since its ohms check": 0.5,
    "sender: clips": 1.0,
    "sender: stem": 1.0,
    "sender: stem, by two depths": 1.0,
    "decade box: value": 1.0,
    "decade box: residual": 1.0,
    "bath: gradient": 0.5,
    "bath: gradient, by changing places": 0.5,
    "loop: a further body": 1.0,
    "loop: noise and lags": 0.5,
}
#: Lines that make the resistance uncertain; all others make the temperature so.
_OF_RESISTANCE = (
    "sender: ohms check",
    "sender: since its ohms check",
    "sender: resolution",
    "sender: clips",
    "decade box",
)
# What the curve leaves open is added where the points are compared with a curve.
_OF_THE_CURVE = ("curve between printed rows", "slope at the printed row")


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredPoints:
    """Points of one sender.

    Attributes
    ----------
    temperature_c : Vector, shape (n,)
        Of the bath. [°C]
    resistance_ohm : Vector, shape (n,)
        Infinite where the circuit was open, zero where it was short. [Ω]
    temperature_covariance : Matrix, shape (n, n)
        Of the temperatures. [K²]
    relative_covariance : Matrix, shape (n, n)
        Of ``ln R``. [1]
    by_hand : bool
        Whether a person read a meter and a thermometer; else the bench did.
    """

    temperature_c: Vector
    resistance_ohm: Vector
    temperature_covariance: Matrix
    relative_covariance: Matrix
    by_hand: bool

    def __post_init__(self) -> None:
        """Refuse what has no shape or no uncertainty."""
        count = self.temperature_c.size
        if count == 0:
            raise ValueError("No point, no reason: measure at one temperature at least.")
        square = (count, count)
        if self.resistance_ohm.shape != (count,) or not (
            self.temperature_covariance.shape == self.relative_covariance.shape == square
        ):
            raise ValueError("Temperatures, resistances and covariances are not of one length.")
        if not np.all(self.resistance_ohm >= 0.0) or not np.all(np.isfinite(self.temperature_c)):
            raise ValueError("Every point needs a temperature, and a resistance that is not negative.")
        variances = np.diag(self.temperature_covariance) + np.diag(self.relative_covariance)
        if not np.all(variances > 0.0):
            raise ValueError("A point without any uncertainty cannot be weighed: give it one.")

    @property
    def count(self) -> int:
        """How many points there are."""
        return int(self.temperature_c.size)

    @property
    def conducts(self) -> NDArray[np.bool_]:
        """At which points there was a resistance to be read, shape (n,): not where the circuit was dead."""
        there: NDArray[np.bool_] = np.isfinite(self.resistance_ohm) & (self.resistance_ohm > 0.0)
        return there

    def and_dead(self, dead: Sequence[DeadPoint]) -> "MeasuredPoints":
        """These points and those at which the circuit was dead."""
        return self if not dead else _joined(self, dead_points(dead, by_hand=self.by_hand))

    def only(self, chosen: Sequence[int]) -> "MeasuredPoints":
        """The points of those numbers, with the covariance among them."""
        picked = np.asarray(chosen, dtype=int)
        return MeasuredPoints(
            temperature_c=self.temperature_c[picked],
            resistance_ohm=self.resistance_ohm[picked],
            temperature_covariance=self.temperature_covariance[np.ix_(picked, picked)],
            relative_covariance=self.relative_covariance[np.ix_(picked, picked)],
            by_hand=self.by_hand,
        )


def dead_points(dead: Sequence[DeadPoint], *, by_hand: bool) -> MeasuredPoints:
    """Points at which the circuit was dead; how sure their temperature is does not matter."""
    one_each = np.eye(len(dead))
    return MeasuredPoints(
        temperature_c=np.array([point.temperature_c for point in dead], dtype=float),
        resistance_ohm=np.array([point.circuit.resistance_ohm for point in dead]),
        temperature_covariance=one_each,
        relative_covariance=one_each,
        by_hand=by_hand,
    )


def _joined(first: MeasuredPoints, second: MeasuredPoints) -> MeasuredPoints:
    """Points of two kinds that have no error in common."""
    return MeasuredPoints(
        temperature_c=np.concatenate([first.temperature_c, second.temperature_c]),
        resistance_ohm=np.concatenate([first.resistance_ohm, second.resistance_ohm]),
        temperature_covariance=_side_by_side(first.temperature_covariance, second.temperature_covariance),
        relative_covariance=_side_by_side(first.relative_covariance, second.relative_covariance),
        by_hand=first.by_hand,
    )


def _side_by_side(first: Matrix, second: Matrix) -> Matrix:
    joined = np.zeros((len(first) + len(second), len(first) + len(second)))
    joined[: len(first), : len(first)] = first
    joined[len(first) :, len(first) :] = second
    return joined


def points_by_hand(points: Sequence[FitPoint], *, common_share: float = HAND_COMMON_SHARE) -> MeasuredPoints:
    """Points read by hand, every one with its standard uncertainties.

    Parameters
    ----------
    points : sequence of FitPoint
    common_share : float
        Share of the temperatures' variance that is the same in every reading. [1]

    Raises
    ------
    ValueError
        If a point does not know an uncertainty.
    """
    u_k = np.array([_known(point.u_temperature_k) for point in points])
    resistance_ohm = np.array([point.resistance_ohm for point in points])
    u_ohm = np.array([_known(point.u_resistance_ohm) for point in points])
    relative_u = u_ohm / resistance_ohm
    return MeasuredPoints(
        temperature_c=np.array([point.temperature_c for point in points]),
        resistance_ohm=resistance_ohm,
        temperature_covariance=common_share * np.outer(u_k, u_k) + (1.0 - common_share) * np.diag(u_k**2),
        relative_covariance=np.diag(relative_u**2),
        by_hand=True,
    )


def points_from_bench(points: Sequence[SenderPoint], curve: ReferenceCurve) -> MeasuredPoints:
    """Plateaus judged on the bench, with the covariance their budgets tell of.

    Each line of the budgets is one effect; what share of it all plateaus have in common stands in
    `COMMON_SHARES`, and its sign in the lines' sensitivities.

    Parameters
    ----------
    points : sequence of SenderPoint
        As `calibration.bench_point.judge_plateau` gives them.
    curve : ReferenceCurve
        The one they were judged against: its slope turned ohms into kelvin.
    """
    count = len(points)
    resistance_ohm = np.array([point.resistance_ohm for point in points])
    kelvin_per_log = np.array([curve.sensitivity_k_per_ohm(ohm) * ohm for ohm in resistance_ohm.tolist()])
    temperature, relative = np.zeros((count, count)), np.zeros((count, count))
    for quantity in dict.fromkeys(line.quantity for point in points for line in point.budget.lines):
        if quantity in _OF_THE_CURVE:
            continue
        effect_k = np.array([_effect_k(point.budget.lines, quantity) for point in points])
        of_resistance = quantity.startswith(_OF_RESISTANCE)
        effect = effect_k / kelvin_per_log if of_resistance else effect_k
        common = COMMON_SHARES.get(quantity, 0.0)
        share = common * np.outer(effect, effect) + (1.0 - common) * np.diag(effect**2)
        if of_resistance:
            relative += share
        else:
            temperature += share
    return MeasuredPoints(
        temperature_c=np.array([point.temperature_c for point in points]),
        resistance_ohm=resistance_ohm,
        temperature_covariance=temperature,
        relative_covariance=relative,
        by_hand=False,
    )


def points_from_curve(
    *, temperature_c: Sequence[float], resistance_ohm: Sequence[float], covariance_k2: Matrix
) -> MeasuredPoints:
    """A fitted curve, read at a few temperatures, as points.

    Parameters
    ----------
    temperature_c, resistance_ohm : sequence of float, length n
        Read off the curve. [°C], [Ω]
    covariance_k2 : Matrix, shape (n, n)
        Covariance of the curve's temperature at those resistances, with that of the thermometer. [K²]
        A curve has fewer coefficients than it may be read at temperatures: what its equation leaves,
        `EQUATION_LEAVES_K`, is added to each.
    """
    count = len(temperature_c)
    return MeasuredPoints(
        temperature_c=np.asarray(temperature_c, dtype=float),
        resistance_ohm=np.asarray(resistance_ohm, dtype=float),
        temperature_covariance=np.asarray(covariance_k2, dtype=float) + EQUATION_LEAVES_K**2 * np.eye(count),
        relative_covariance=np.zeros((count, count)),
        by_hand=False,
    )


def _effect_k(lines: Sequence[BudgetLine], quantity: str) -> float:
    """Standard uncertainty of the error by one line, with the sign of its sensitivity. [K]"""
    return math.fsum(line.sensitivity * line.standard_u for line in lines if line.quantity == quantity)


def _known(uncertainty: float | None) -> float:
    if uncertainty is None:
        raise ValueError("Every point needs its standard uncertainties: say or assume them first.")
    return uncertainty
