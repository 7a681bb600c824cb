"""Rig time: what happens in the bath is counted in it. Real, or simulated and faster than the wall's.

What happens to processes (keep-alive, resend, presence) is wall time and never sees a clock of this file.
"""

import ctypes
import threading
import time
from typing import Protocol

# A paced clock that fell behind by less than this catches up; what is more is forgiven, so that a bench
# that stood still for its desk does not rush afterwards.
_CATCH_UP_S = 0.25
_SHORTEST_SLEEP_S = 0.001


class Clock(Protocol):
    """Source of rig time."""

    def monotonic_s(self) -> float:
        """Rig time; never goes back. [s]"""

    def utc_s(self) -> float | None:
        """UTC, or None where the clock is not synchronised. [s]"""

    def wait_until(self, monotonic_s: float) -> None:
        """Return once rig time is at least ``monotonic_s``. [s]"""


class RealClock:
    """The machine's own clock; rig time is 0 when it is made. Untested on a Raspberry Pi."""

    def __init__(self) -> None:
        self._origin_s = time.monotonic()

    def monotonic_s(self) -> float:
        """Seconds since this clock was made. [s]"""
        return time.monotonic() - self._origin_s

    def utc_s(self) -> float | None:
        """UTC where the kernel says that its clock is disciplined, else None. [s]"""
        return time.time() if kernel_clock_is_synchronised() else None

    def wait_until(self, monotonic_s: float) -> None:
        """Sleep until rig time is at least ``monotonic_s``. [s]"""
        while (remaining_s := monotonic_s - self.monotonic_s()) > 0:
            time.sleep(remaining_s)


class SimulatedClock:
    """A clock that moves only when somebody waits on it; rig time is 0 when it is made.

    Parameters
    ----------
    speed : float or None
        Rig seconds in a wall second, or None for as fast as the machine can.
    start_utc_s : float or None
        UTC at rig time 0, or None for a clock that is never synchronised. [s]

    Raises
    ------
    ValueError
        If ``speed`` is not positive.
    """

    def __init__(self, *, speed: float | None = None, start_utc_s: float | None = None) -> None:
        if speed is not None and not 0 < speed < float("inf"):
            raise ValueError(f"A simulated clock cannot run at {speed:g} times wall time: give more than 0.")
        self.speed = speed
        self._start_utc_s = start_utc_s
        self._now_s = 0.0
        self._due_wall_s = time.monotonic()
        self._lock = threading.Lock()

    def monotonic_s(self) -> float:
        """Simulated seconds since this clock was made. [s]"""
        return self._now_s

    def utc_s(self) -> float | None:
        """Simulated UTC, or None where it is not synchronised. [s]"""
        return None if self._start_utc_s is None else self._start_utc_s + self._now_s

    def wait_until(self, monotonic_s: float) -> None:
        """Advance to ``monotonic_s``; never goes back. [s]"""
        with self._lock:
            step_s = monotonic_s - self._now_s
            if step_s <= 0:
                return
            if self.speed is not None:
                self._pace(step_s / self.speed)
            self._now_s = monotonic_s

    def _pace(self, wall_step_s: float) -> None:
        wall_s = time.monotonic()
        self._due_wall_s = max(self._due_wall_s, wall_s - _CATCH_UP_S) + wall_step_s
        ahead_s = self._due_wall_s - wall_s
        if ahead_s >= _SHORTEST_SLEEP_S:
            time.sleep(ahead_s)


class _Timex(ctypes.Structure):
    """Head of the kernel's ``struct timex`` (adjtimex(2)), with room for what follows it."""

    _fields_ = (
        ("modes", ctypes.c_uint),
        ("offset", ctypes.c_long),
        ("freq", ctypes.c_long),
        ("maxerror", ctypes.c_long),
        ("esterror", ctypes.c_long),
        ("status", ctypes.c_int),
        ("rest", ctypes.c_char * 256),
    )


_STA_UNSYNC = 0x0040  # adjtimex(2): "clock unsynchronized"
_TIME_ERROR = 5  # adjtimex(2), return value: "the clock is not synchronized"


def kernel_clock_is_synchronised() -> bool:
    """Tell whether the kernel says that its clock is disciplined; False where it cannot be asked."""
    try:
        adjtimex = ctypes.CDLL(None, use_errno=True).adjtimex
    except (OSError, AttributeError):  # not Linux
        return False
    state = _Timex()  # modes 0: read only
    answer: int = adjtimex(ctypes.byref(state))
    return 0 <= answer != _TIME_ERROR and not state.status & _STA_UNSYNC
