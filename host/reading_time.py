"""UTC of a reading, as far as it can be told (protocol, rule 6)."""

from dataclasses import dataclass
from datetime import UTC, datetime

from calibration.contract.readings import ReadingPack
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

    @property
    def words(self) -> str:
        """For a page: the time in UTC, marked where it was inferred."""
        if self.utc_s is None:
            return TIME_UNKNOWN
        text = datetime.fromtimestamp(self.utc_s, UTC).strftime("%Y-%m-%d %H:%M:%S UTC")
        return f"{text} (inferred)" if self.inferred else text


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
