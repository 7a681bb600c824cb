"""What a rig says of one sampling pass, or of numbers that it dropped; `senml.py` puts it into bytes."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from calibration.contract.messages import MessageError

CHANNEL_UNITS: Mapping[str, str] = {
    "sender": "Ohm",
    "probe": "Ohm",
    "witness": "Cel",
    "infrared": "Cel",
    "ambient": "Cel",
}
TAP_NAMES = tuple(f"{channel}.tap{tap}" for channel in ("sender", "probe") for tap in (0, 1, 2))

LONGEST_BURST = 200  # single conversions in one pack
MOST_SHOTS = 100  # presses of the button in one pack
GAP_REASONS = ("thinned", "full", "corrupt", "deleted_after_stored")


class Quality(StrEnum):
    """Why a reading may or may not be used, as the rig sees it."""

    GOOD = "good"
    RANGE = "range"
    OPEN = "open"
    SHORT = "short"
    CHECKSUM = "checksum"
    ERROR_FLAG = "error_flag"
    POWER_ON = "power_on"
    MISSING = "missing"
    STALE = "stale"
    FROZEN = "frozen"
    SWITCHING = "switching"


class Insertion(StrEnum):
    """Where the decade box stands in the circuit."""

    NONE = "none"
    SENDER = "sender"  # in place of the sender
    PROBE = "probe"  # in place of the probe, to check that channel
    SERIES = "series"  # in series with the sender
    PARALLEL = "parallel"  # across the sender


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelReading:
    """What one channel said in one pass.

    Attributes
    ----------
    quality : Quality
        ``good``, or why the reading may not be used.
    raw : float or None
        Raw count as the chip gave it; for the two resistance channels
        4096·(c1 - c2)/(c0 - c2), the three-tap ratio in counts of full scale. [count]
    value : float or None
        The quantity in the channel's unit; only where usable. [Ω or °C]
    reason : str or None
        Words for the person at the bench; present unless good.
    """

    quality: Quality
    raw: float | None = None
    value: float | None = None
    reason: str | None = None

    def __post_init__(self) -> None:
        if (self.quality is Quality.GOOD) != (self.reason is None):
            raise MessageError("a reason stands beside every quality but good, and only there")
        if self.quality is Quality.GOOD and self.value is None:
            raise MessageError("a good reading has a value")


@dataclass(frozen=True, slots=True, kw_only=True)
class BurstReading:
    """One single conversion of the sender channel in a burst.

    Attributes
    ----------
    before_s : float
        How long before the pass it was taken, to the millisecond. [s]
    raw : float
        Ratio count, as in `ChannelReading`. [count]
    value : float or None
        Resistance, only where usable. [Ω]
    """

    before_s: float
    raw: float
    value: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingPack:
    """One sampling pass of one rig.

    Attributes
    ----------
    station, rig, boot : str
        Who says it.
    seq : int
        Number of this message in its boot, from 1.
    rig_time_s : float
        Monotonic seconds of the rig, to the millisecond. [s]
    simulated : bool
        True where the silicon was simulated.
    decade_ohm : float
        Setting of the decade box. [Ω]
    insertion : Insertion
        Where the decade box stands.
    range_ohm : float
        Nominal reference resistor in use on the sender channel. [Ω]
    sender_duty : float or None
        Share of the time for which the sender carried current; None where the rig does not say. [1]
    infrared_emissivity : float or None
        What the infrared sensor's own cell held when it was last read; None where the rig does not say. [1]
    channels : Mapping[str, ChannelReading]
        By channel name, a subset of `CHANNEL_UNITS`.
    taps : Mapping[str, float]
        Mean tap counts by name (`TAP_NAMES`). [count]
    utc_s : float or None
        UTC where the clock was synchronised when the pass was taken. [s]
    clock_step_s : float or None
        Size of a clock step over 0.5 s since the pass before. [s]
    burst : tuple[BurstReading, ...]
        Up to a second of single conversions before this pass, oldest first; mostly empty.
    shots_before_s : tuple[float, ...]
        How long before this pass the bench button was pressed, to the millisecond; mostly empty. [s]
    """

    station: str
    rig: str
    boot: str
    seq: int
    rig_time_s: float
    simulated: bool
    decade_ohm: float
    insertion: Insertion
    range_ohm: float
    channels: Mapping[str, ChannelReading]
    sender_duty: float | None = None
    infrared_emissivity: float | None = None
    taps: Mapping[str, float] = field(default_factory=dict)
    utc_s: float | None = None
    clock_step_s: float | None = None
    burst: tuple[BurstReading, ...] = ()
    shots_before_s: tuple[float, ...] = ()

    def good_value(self, channel: str) -> float | None:
        """Value of a channel in its unit, None where it was not read or may not be used. [Ω or °C]"""
        reading = self.channels.get(channel)
        return reading.value if reading is not None and reading.quality is Quality.GOOD else None


@dataclass(frozen=True, slots=True, kw_only=True)
class GapPack:
    """Numbers that the rig dropped on purpose, declared."""

    station: str
    rig: str
    boot: str
    first: int
    last: int
    reason: str
