"""Whether a contact opens and closes while the connector is moved: a burst of readings at 50 Hz.

Heat cannot do what a loose contact does. The body of a sender changes by a few kelvin a second at the very
most, a tenth of a per cent of its resistance in 20 ms; a contact changes it by per cents, or without end.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.diagnosis.attribution import posterior
from calibration.diagnosis.diagnosis import NAMED_FROM
from calibration.diagnosis.fault import IN_A_BURST, Fault
from calibration.diagnosis.measured_points import Vector

#: Readings in a second.
BURST_RATE_HZ = 50.0
#: Fewer readings than this say nothing of a contact.
SHORTEST_BURST = 25
#: A fault that shows while the connector is moved is as likely as not: that is why it is moved. Stated.
INTERMITTENT_PRIOR = 0.5

# The step of a reading that is noise, at least: the converter's. Relative.
_LEAST_NOISE = 1e-4
# A jump is taken to be of any size between these, relative and on a logarithmic scale: from what no heat can
# do in 20 ms to an open circuit.
_SMALLEST_JUMP, _LARGEST_JUMP = 0.005, math.log(1e6)
# Share of the steps in which a contact moves that is being moved: any order of magnitude between these.
_SHARES = np.geomspace(1e-2, 0.5, 25)
_REPEAT = "Repeat the burst for longer, and move connector and lead all the while."
# An open reading, on the logarithmic scale of the others. [Ω]
_OPEN_OHM = 1e9


@dataclass(frozen=True, slots=True, kw_only=True)
class Intermittence:
    """What a burst showed.

    Attributes
    ----------
    fault : Fault
        ``intermittent``, ``healthy`` (the contact is steady), ``open`` (all of it), or ``cannot_tell``.
    weight : float
        Probability that the contact is intermittent.
    jumps : int
        Steps between two readings that no heat can have made.
    open_share : float
        Share of the readings in which the circuit was open.
    largest_ohm : float
        Largest distance of a reading from the middle one; infinite where it opened. [Ω]
    next_action : str
    """

    fault: Fault
    weight: float
    jumps: int
    open_share: float
    largest_ohm: float
    next_action: str


def intermittence(resistance_ohm: Sequence[float]) -> Intermittence:
    """Judge a burst read while the connector was moved.

    Two explanations are compared on the steps of ``ln R``: noise alone, its size taken from the steps
    themselves (their median magnitude, so that jumps do not count), and noise with a share of jumps of any
    size. The share is averaged over.

    Parameters
    ----------
    resistance_ohm : sequence of float, length n
        Readings in order, at `BURST_RATE_HZ`; infinite where the circuit was open. [Ω]

    Raises
    ------
    ValueError
        If there are fewer than `SHORTEST_BURST` readings, or one is no resistance.
    """
    burst = np.asarray(resistance_ohm, dtype=float)
    if burst.size < SHORTEST_BURST:
        raise ValueError(
            f"A burst of {burst.size} readings says nothing of a contact: take {SHORTEST_BURST} at least."
        )
    if not np.all(burst > 0.0):
        raise ValueError("A reading of the burst is no resistance. Leave it out.")
    is_open = burst >= _OPEN_OHM
    steps = np.diff(np.log(np.minimum(burst, _OPEN_OHM)))
    # What opens or closes is no noise, however often it does.
    noise = _noise(steps[~(is_open[1:] | is_open[:-1])])
    weight = 0.0 if np.all(is_open) else _weight(steps, noise)
    fault = _fault(weight, all_open=bool(np.all(is_open)))
    middle_ohm = float(np.median(burst))
    # All readings may be open: the distance of infinity from itself is none.
    away_ohm = np.where(burst == middle_ohm, 0.0, np.abs(burst - min(middle_ohm, _OPEN_OHM)))
    return Intermittence(
        fault=fault,
        weight=weight,
        jumps=int(np.count_nonzero(np.abs(steps) > max(_SMALLEST_JUMP, 6.0 * noise))),
        open_share=float(np.mean(is_open)),
        largest_ohm=float(np.max(away_ohm)),
        next_action=_REPEAT if fault is Fault.CANNOT_TELL else fault.next_action(IN_A_BURST),
    )


def _noise(steps: Vector) -> float:
    """Standard deviation of quiet steps, by the median of their magnitudes (0.6745 of it, if normal)."""
    if steps.size == 0:
        return _LEAST_NOISE
    return max(float(np.median(np.abs(steps))) / 0.6745, _LEAST_NOISE)


def _weight(steps: Vector, noise: float) -> float:
    quiet = np.exp(-0.5 * (steps / noise) ** 2) / (noise * math.sqrt(2.0 * math.pi))
    size = np.abs(steps)
    possible = (size >= max(_SMALLEST_JUMP, 4.0 * noise)) & (size <= _LARGEST_JUMP * 2.0)
    # Both signs, flat in the logarithm of the size.
    span = 2.0 * math.log(2.0 * _LARGEST_JUMP / _SMALLEST_JUMP)
    jump = np.where(possible, 1.0 / (np.maximum(size, _SMALLEST_JUMP) * span), 0.0)
    smallest = np.finfo(float).tiny
    # Steps that are neither noise nor jump (heat, a knock) must not decide: a wide tail carries both.
    tail = 1e-9
    steady = float(np.sum(np.log(np.maximum(quiet, smallest) + tail)))
    mixed = [
        float(np.sum(np.log((1.0 - share) * np.maximum(quiet, smallest) + share * jump + tail)))
        for share in _SHARES.tolist()
    ]
    moving = float(np.logaddexp.reduce(mixed)) - math.log(len(mixed))
    return posterior([moving, steady], [INTERMITTENT_PRIOR, 1.0 - INTERMITTENT_PRIOR])[0]


def _fault(weight: float, *, all_open: bool) -> Fault:
    if all_open:
        return Fault.OPEN
    if weight >= NAMED_FROM:
        return Fault.INTERMITTENT
    return Fault.HEALTHY if weight <= 1.0 - NAMED_FROM else Fault.CANNOT_TELL
