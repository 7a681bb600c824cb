"""A reading as the store keeps it: the message that came, and what was written beside it when it came.

Everything beside the message can be made again from it. Where that comes out otherwise, one of the two was
changed since, and nothing may rest on either.
"""

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from typing import Any, Self

from calibration.contract.messages import MessageError
from calibration.contract.readings import ReadingPack
from calibration.contract.senml import decode_readings
from calibration.resistance.three_tap import FULL_SCALE_COUNT

#: A ratio count follows from its three taps by two divisions: what rounding leaves of it. [count]
_ROUNDING_COUNT = 1e-6
_CHANNELS = ("sender", "probe")


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptReading:
    """One row of the store's readings.

    Attributes
    ----------
    station, boot, seq
        By which it is cited.
    payload : bytes
        The message as it came from the wire.
    digest : str
        SHA-256 of the message, taken when it came.
    received_utc_s : float
        When it came, by the desk's clock. [s]
    rig, rig_time_s, utc_s, simulated, decade_ohm, insertion, range_ohm
        What the message says, taken out of it when it came (`ReadingPack`).
    """

    station: str
    boot: str
    seq: int
    payload: bytes
    digest: str
    received_utc_s: float
    rig: str
    rig_time_s: float
    utc_s: float | None
    simulated: bool
    decade_ohm: float
    insertion: str
    range_ohm: float

    @classmethod
    def of(cls, pack: ReadingPack, payload: bytes, received_utc_s: float) -> Self:
        """What is kept of a message that has just come."""
        return cls(
            station=pack.station,
            boot=pack.boot,
            seq=pack.seq,
            payload=payload,
            digest=hashlib.sha256(payload).hexdigest(),
            received_utc_s=received_utc_s,
            rig=pack.rig,
            rig_time_s=pack.rig_time_s,
            utc_s=pack.utc_s,
            simulated=pack.simulated,
            decade_ohm=pack.decade_ohm,
            insertion=pack.insertion.value,
            range_ohm=pack.range_ohm,
        )

    def as_row(self) -> dict[str, Any]:
        """Every column by its name."""
        return {one.name: getattr(self, one.name) for one in fields(self)}  # asdict copies each value

    def as_json(self) -> dict[str, Any]:
        """For an exported folder; the message is text in UTF-8."""
        return {**self.as_row(), "payload": self.payload.decode("utf-8")}

    @classmethod
    def from_json(cls, values: Mapping[str, Any]) -> Self:
        """From an exported folder.

        Raises
        ------
        KeyError
            If a column is missing.
        """
        columns = {one.name: values[one.name] for one in fields(cls)}
        return cls(**{**columns, "payload": values["payload"].encode("utf-8")})

    def pack(self) -> ReadingPack:
        """What the message says.

        Raises
        ------
        MessageError
            If it cannot be read, or is no reading.
        """
        pack = decode_readings(self.payload, station=self.station)
        if not isinstance(pack, ReadingPack):
            raise MessageError("it declares a gap")
        return pack

    def disagreement(self) -> str | None:
        """First thing beside the message that the message does not say, in words; None where all agree."""
        try:
            pack = self.pack()
        except MessageError as error:
            return f"its message cannot be read: {error}"
        said = KeptReading.of(pack, self.payload, self.received_utc_s)
        for column in fields(self):
            stored, message = getattr(self, column.name), getattr(said, column.name)
            if column.name != "digest" and stored != message:
                return f"{column.name}: stored {_shown(stored)}, its message says {_shown(message)}"
        for channel in _CHANNELS:
            words = _beside_its_taps(pack, channel)
            if words:
                return words
        if self.digest != said.digest:
            return f"SHA-256: stored {self.digest}, its message has {said.digest}, so it is not what came"
        return None


def digest_of(readings: Iterable[KeptReading]) -> str:
    """One digest over many readings, in the order of their numbers: which, what came, and when."""
    ordered = sorted(readings, key=lambda one: (one.station, one.boot, one.seq))
    lines = "".join(
        f"{one.station} {one.boot} {one.seq} {one.digest} {float(one.received_utc_s)!r}\n" for one in ordered
    )
    return hashlib.sha256(lines.encode("utf-8")).hexdigest()


def _beside_its_taps(pack: ReadingPack, channel: str) -> str | None:
    """What is wrong where a ratio count is not the one of its own taps."""
    raw = pack.channels[channel].raw if channel in pack.channels else None
    taps = [pack.taps.get(f"{channel}.tap{number}") for number in (0, 1, 2)]
    top, middle, bottom = taps
    if raw is None or top is None or middle is None or bottom is None or top <= bottom:
        return None
    count = FULL_SCALE_COUNT * (middle - bottom) / (top - bottom)
    if abs(raw - count) <= _ROUNDING_COUNT:
        return None
    return f"{channel}.raw: its message says {raw!r}, and by its taps it is {count!r}"


def _shown(value: Any) -> str:
    return "nothing" if value is None else str(value)
