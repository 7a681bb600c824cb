"""UTC of a reading, as far as it can be told (protocol, rule 6)."""

from dataclasses import dataclass
from datetime import tzinfo

from calibration.contract.readings import ReadingPack
from host.boot_clock import ClockStep
from host.local_time import local_second
from host.store import Store

TIME_UNKNOWN = "time unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingTime:
    """When a pass was taken.

    Attributes
    ----------
    utc_s : float or None
        None where it cannot be told. [s]
    inferred : bool
        True where its boot's first synchronised pass told it, not its own clock.
    """

    utc_s: float | None
    inferred: bool = False

    def words(self, zone: tzinfo | None) -> str:
        """For a page: the time in that zone, marked where it was inferred."""
        if self.utc_s is None:
            return TIME_UNKNOWN
        text = local_second(self.utc_s, zone)
        return f"{text} (inferred)" if self.inferred else text

    def explained(self, zone: tzinfo | None) -> str:
        """For the person at the bench: the time, how it is known, and what to do where it is not."""
        if self.utc_s is None:
            return (
                "Time unknown: the rig's clock has not been set since it was switched on. Order and "
                "durations hold all the same. Bring the rig to a network with a time server."
            )
        if self.inferred:
            return (
                f"Read at {self.words(zone)}: the rig's clock was not set just then, so the time is counted "
                "from when it was."
            )
        return f"Read at {self.words(zone)}."


def reading_time(pack: ReadingPack, first_synchronised: tuple[float, float] | None) -> ReadingTime:
    """Time of one pass.

    Parameters
    ----------
    first_synchronised : tuple or None
        Rig time and UTC of the first pass of its boot whose clock was synchronised. [s]
    """
    if pack.utc_s is not None:
        return ReadingTime(utc_s=pack.utc_s)
    if first_synchronised is None:
        return ReadingTime(utc_s=None)
    rig_time_s, utc_s = first_synchronised
    return ReadingTime(utc_s=pack.rig_time_s + (utc_s - rig_time_s), inferred=True)


def stored_reading_time(store: Store, pack: ReadingPack) -> ReadingTime:
    """Time of one pass, with what the store knows of its boot."""
    known = None if pack.utc_s is not None else store.packs.first_synchronised(pack.station, pack.boot)
    return reading_time(pack, known)


def clock_step_words(step: ClockStep, *, rig_time_s: float) -> str:
    """A step of a rig's clock as a page says it, beside the pass of this rig time. [s]"""
    way = "forward" if step.step_s > 0.0 else "back"
    ago_s = max(0.0, rig_time_s - step.rig_time_s)
    return (
        f"The rig's clock was set {way} by {abs(step.step_s):,.1f} s, {ago_s:,.0f} s of bench time before "
        "this reading. Order and durations are not touched."
    )
