"""The readings of a loop: heated through the curve with pauses, sender and probe read together."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.errors import CalibrationError

Vector = NDArray[np.float64]

#: Readings are averaged over stretches of this length before they are fitted. [s]
STRETCH_S = 1.0

#: Shortest loop, and longest stretch without a reading. [s]
SHORTEST_LOOP_S, LONGEST_GAP_S = 180.0, 10.0

#: Smallest span of temperature that gives a curve. [K]
SMALLEST_SPAN_K = 20.0


class LoopError(CalibrationError):
    """Readings that are no loop, or a loop that does not tell curve and lags apart.

    Attributes
    ----------
    missing : tuple[str, ...]
        What the next loop has to have, in words.
    """

    def __init__(self, message: str, *, missing: Sequence[str] = ()) -> None:
        super().__init__(message)
        self.missing = tuple(missing)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LoopRecord:
    """Readings of a loop in order, evenly averaged.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        Rig time, increasing. [s]
    probe_c : ndarray, shape (n,)
        By the probe's certificate. [°C]
    log_ohm : ndarray, shape (n,)
        Natural logarithm of the sender's resistance in ohms. [1]
    """

    time_s: Vector
    probe_c: Vector
    log_ohm: Vector

    @property
    def step_s(self) -> float:
        """Mean spacing. [s]"""
        return float((self.time_s[-1] - self.time_s[0]) / (self.time_s.size - 1))


def loop_record(time_s: ArrayLike, probe_c: ArrayLike, sender_ohm: ArrayLike) -> LoopRecord:
    """Record of a loop from its readings, averaged over stretches of `STRETCH_S`.

    Averaging and lagging may change places, so nothing is lost but the noise.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Rig time, increasing. [s]
    probe_c : array_like, shape (n,)
        By the probe's certificate. [°C]
    sender_ohm : array_like, shape (n,)
        Corrected resistance of the sender. [Ω]

    Raises
    ------
    LoopError
        If the readings are too few, too short, have a gap, or span too little.
    """
    times, probe = np.asarray(time_s, dtype=float), np.asarray(probe_c, dtype=float)
    ohm = np.asarray(sender_ohm, dtype=float)
    _refuse_unfit(times, probe, ohm)
    together = max(1, int(round(STRETCH_S / float(np.median(np.diff(times))))))
    # The first stretch may be longer, never the last: the top is where the loop ends.
    whole = times.size - times.size % together
    return LoopRecord(
        time_s=_averaged(times[-whole:], together),
        probe_c=_averaged(probe[-whole:], together),
        log_ohm=_averaged(np.log(ohm[-whole:]), together),
    )


def _averaged(values: Vector, together: int) -> Vector:
    means: Vector = values.reshape(-1, together).mean(axis=1)
    return means


def _refuse_unfit(times: Vector, probe: Vector, ohm: Vector) -> None:
    if not times.size == probe.size == ohm.size:
        raise LoopError("A loop needs a time, a temperature and a resistance for every reading.")
    finite = bool(np.isfinite(times).all() and np.isfinite(probe).all() and np.isfinite(ohm).all())
    if not finite or not bool((ohm > 0.0).all()):
        raise LoopError("A loop takes finite readings and resistances above zero. Leave bad readings out.")
    if times.size < 2 or times[-1] - times[0] < SHORTEST_LOOP_S:
        raise LoopError(f"A loop runs for {SHORTEST_LOOP_S:g} s or more. Heat on, with its pauses.")
    gaps = np.diff(times)
    if not bool((gaps > 0.0).all()):
        raise LoopError("The times of a loop must rise from reading to reading.")
    if float(gaps.max()) > LONGEST_GAP_S:
        raise LoopError(
            f"The readings have a gap of {gaps.max():.0f} s; a loop bears {LONGEST_GAP_S:g} s. What the bath "
            "did meanwhile is not known: run the loop again."
        )
    span_k = float(probe.max() - probe.min())
    if span_k < SMALLEST_SPAN_K:
        raise LoopError(
            f"The bath went through {span_k:.1f} K; a curve needs {SMALLEST_SPAN_K:g} K or more. "
            "Heat further."
        )
