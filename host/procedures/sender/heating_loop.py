"""One heating of a sender through its range, with rests: how far it has come, made of its events alone."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from calibration.bath.identifiability import PAUSES_NEAR_C

#: Where the last heating ends, at the least: above the last pause, so that every loop has all of them. [°C]
LOWEST_TOP_C = 86.0

#: How far beyond the highest set point the heater goes on, so that the sender gets there too. [K]
BEYOND_K = 1.0

#: How far a bath may run on once the heater is off, at the most. [K]
RUNS_ON_K = 5.0

#: How far below the lowest set point the bath has to rest at the start. [K]
BELOW_K = 0.5

#: How far below the first pause it has to rest: even at the fastest rate half a minute of heating is seen
#: before the heater is called off. [K]
BELOW_FIRST_PAUSE_K = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class HeaterRest:
    """The heater was off from one reading to another.

    Attributes
    ----------
    at_c : float
        Bath when it was called off. [°C]
    from_s : float
        Rig time of the call. [s]
    to_s : float or None
        Rig time of the end; None while it lasts. [s]
    rate_k_per_min : float
        How fast the bath had risen before. [K/min]
    log_ohm : float
        Natural logarithm of the sender's resistance then. [1]
    """

    at_c: float
    from_s: float
    rate_k_per_min: float
    log_ohm: float
    to_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatingLoop:
    """A loop so far.

    Attributes
    ----------
    boot : str
        All of a loop is of one boot.
    first : int
        Number of its first reading, at rest.
    began_s : float
        Its rig time. [s]
    rests : tuple[HeaterRest, ...]
        The heater's rests after the first heating, in order; the last one is the top.
    is_at_top : bool
        Whether the last heating is over.
    """

    boot: str
    first: int
    began_s: float
    rests: tuple[HeaterRest, ...] = ()
    is_at_top: bool = False

    @property
    def resting(self) -> HeaterRest | None:
        """The rest that lasts, or None while the heater is on."""
        return self.rests[-1] if self.rests and self.rests[-1].to_s is None else None

    @property
    def next_pause_c(self) -> float | None:
        """Where the heater is called off next, or None where only the top is left. [°C]"""
        done = len(self.rests)
        return PAUSES_NEAR_C[done] if done < len(PAUSES_NEAR_C) else None

    def heater_off(self, end_s: float) -> tuple[tuple[float, float], ...]:
        """When the heater was off, the last rest to the end of the loop. [s]"""
        return tuple((rest.from_s, end_s if rest.to_s is None else rest.to_s) for rest in self.rests)

    def called_off(self, payload: Mapping[str, Any], *, is_top: bool) -> "HeatingLoop":
        """The loop once the heater has been called off."""
        rest = HeaterRest(
            at_c=float(payload["probe_c"]),
            from_s=float(payload["rig_time_s"]),
            rate_k_per_min=float(payload["rate_k_per_min"]),
            log_ohm=float(payload["log_ohm"]),
        )
        return replace(self, rests=(*self.rests, rest), is_at_top=is_top)

    def heated_on(self, payload: Mapping[str, Any]) -> "HeatingLoop":
        """The loop once a pause is over."""
        over = replace(self.rests[-1], to_s=float(payload["rig_time_s"]))
        return replace(self, rests=(*self.rests[:-1], over))


def top_c(set_points_c: tuple[float, ...]) -> float:
    """Where the last heating of a loop ends. [°C]"""
    return max(max(set_points_c) + BEYOND_K, LOWEST_TOP_C)


def starts_below_c(set_points_c: tuple[float, ...]) -> float:
    """How warm the bath may rest at the start of a loop, at the most. [°C]"""
    return min(min(set_points_c) - BELOW_K, PAUSES_NEAR_C[0] - BELOW_FIRST_PAUSE_K)
