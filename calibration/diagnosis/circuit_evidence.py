"""How well an open, a short or an intermittent circuit, or nothing that is listed, predicted the points."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.curves import ReferenceCurve
from calibration.diagnosis.curve_view import CurveView, view_of
from calibration.diagnosis.dead_circuit import DeadCircuit
from calibration.diagnosis.evidence import healthy_log_evidence, log_normal_density
from calibration.diagnosis.measured_points import MeasuredPoints, Vector

#: An open circuit leaves any resistance within these, all orders of magnitude alike. [Ω]
OPEN_OHM = (2e5, 1e12)
#: And so does a short one. [Ω]
SHORT_OHM = (1e-3, 10.0)
# An instrument shows an open or a short circuit as what it is, or as some such resistance.
_SHOWN_AS_DEAD = 0.5
# A clip slips off, or bridges, and nobody sees it: once in so many readings. Assumed.
_UNSEEN_SLIP = 1e-3

# A sender that conducts is not off by more than this factor.
_FAR_OFF = math.log(10.0)

# A thermistor of no curve in the library: spread of ln R25 and of beta about the reference curve's; and
# points that follow no thermistor at all.
_UNKNOWN_LOG_R25, _UNKNOWN_BETA = 1.0, 0.25
_UNKNOWN_POINT = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class UnlistedEvidence:
    """Evidence of what is not listed, in its two kinds.

    Attributes
    ----------
    thermistor : float
        Logarithm of that of a thermistor of no listed curve.
    scattered : float
        And of points that follow no thermistor.
    """

    thermistor: float
    scattered: float

    @property
    def log_evidence(self) -> float:
        """Of either; before the points are seen, both are alike."""
        return float(np.logaddexp(self.thermistor, self.scattered)) - math.log(2.0)

    @property
    def follows_a_thermistor(self) -> bool:
        """Whether the points look like a thermistor's rather than like none's."""
        return self.thermistor >= self.scattered


def dead_log_evidence(points: MeasuredPoints, circuit: DeadCircuit) -> float:
    """Evidence of a circuit that stays open, or short: minus infinity where a reading is no such thing."""
    return _sum_of(_dead_densities(points, circuit))


def _dead_densities(points: MeasuredPoints, circuit: DeadCircuit) -> Vector:
    """Logarithm of how likely each reading is in a dead circuit, shape (n,).

    It shows as what it is, or as a resistance anywhere within limits on a logarithmic scale.
    """
    low, high = OPEN_OHM if circuit is DeadCircuit.OPEN else SHORT_OHM
    ohm = points.resistance_ohm
    as_ohms = math.log((1.0 - _SHOWN_AS_DEAD) / math.log(high / low))
    densities: Vector = np.where((low <= ohm) & (ohm <= high), as_ohms, -math.inf)
    densities[ohm == circuit.resistance_ohm] = math.log(_SHOWN_AS_DEAD)
    return densities


def intermittent_log_evidence(points: MeasuredPoints, curve: ReferenceCurve) -> float:
    """Evidence of a contact that comes and goes; minus infinity where it was not seen to.

    How often it is open, short or sound is unknown, every mixture alike: the probability of one order of
    readings follows by Dirichlet's integral. Where it was sound, the points are a good sender's or anything.
    """
    opened, shorted = (
        np.isfinite(_dead_densities(points, circuit)) & _is_far_off(points, curve) for circuit in DeadCircuit
    )
    sound = ~(opened | shorted)
    counts = [int(np.count_nonzero(state)) for state in (sound, opened, shorted)]
    if max(counts) == points.count:
        return -math.inf
    pattern = (
        math.log(2.0) + math.fsum(math.lgamma(count + 1) for count in counts) - math.lgamma(points.count + 3)
    )
    dead = _sum_of(_dead_densities(points, DeadCircuit.OPEN)[opened]) + _sum_of(
        _dead_densities(points, DeadCircuit.SHORT)[shorted]
    )
    return pattern + dead + _sound_log_evidence(points, curve, np.flatnonzero(sound).tolist())


def _sound_log_evidence(points: MeasuredPoints, curve: ReferenceCurve, sound: Sequence[int]) -> float:
    if not sound:
        return 0.0
    read = points.only(sound)
    view = view_of(curve, read.temperature_c)
    unlisted = unlisted_evidence(read, view).log_evidence
    return float(np.logaddexp(healthy_log_evidence(read, view), unlisted)) - math.log(2.0)


def _is_far_off(points: MeasuredPoints, curve: ReferenceCurve) -> NDArray[np.bool_]:
    """Which readings are dead, or so far from the curve that the circuit may have been, shape (n,)."""
    far = ~points.conducts
    for number in np.flatnonzero(points.conducts).tolist():
        nominal_ohm = curve.nominal_ohm(float(points.temperature_c[number]))
        far[number] = abs(math.log(points.resistance_ohm[number] / nominal_ohm)) > _FAR_OFF
    return far


def _sum_of(logarithms: Vector) -> float:
    return float(np.sum(logarithms))


def unlisted_evidence(points: MeasuredPoints, view: CurveView) -> UnlistedEvidence:
    """Evidence of what is not listed, from points that conduct."""
    residual = np.log(points.resistance_ohm / view.resistance_ohm)
    known = view.covariance(points)
    wide = np.diag([_UNKNOWN_LOG_R25**2, _UNKNOWN_BETA**2])
    thermistor = known + view.part_shapes @ wide @ view.part_shapes.T
    scattered = known + _UNKNOWN_POINT**2 * np.eye(points.count)
    both = log_normal_density(np.stack([residual, residual]), np.stack([thermistor, scattered]))
    return UnlistedEvidence(thermistor=float(both[0]), scattered=float(both[1]))


def slips_log_evidence(points: MeasuredPoints) -> float:
    """Evidence of dead readings that nothing listed explains: each a clip that slipped."""
    return math.log(_UNSEEN_SLIP) * (points.count - int(np.count_nonzero(points.conducts)))
