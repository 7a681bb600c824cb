"""One sampling pass as a SenML pack (RFC 8428, JSON), with no extension labels."""

import math
from collections.abc import Mapping
from enum import StrEnum
from itertools import pairwise
from typing import Any, TypeVar

from calibration.contract.messages import MessageError, check_text, compact_json, parse_json, shown
from calibration.contract.readings import (
    CHANNEL_UNITS,
    GAP_REASONS,
    LONGEST_BURST,
    MOST_SHOTS,
    TAP_NAMES,
    BurstReading,
    ChannelReading,
    GapPack,
    Insertion,
    Quality,
    ReadingPack,
)
from calibration.contract.topics import MAX_MESSAGE_BYTES, is_boot, is_station

# Plausible spans. Outside them a message is kept aside as absurd, not corrected.
_ABSURD = {"Ohm": (0.0, 1e9), "Cel": (-100.0, 500.0), "/": (0.0, 1.0)}
_ABSURD_UTC_S = (1.5e9, 4.2e9)


_Word = TypeVar("_Word", bound=StrEnum)

_BURST, _BURST_RAW = "sender.burst", "sender.burst.raw"
_SHOT = "shot"
_DUTY = "sender.duty"
_CELL = "infrared.emissivity"
_MANY = (_BURST, _BURST_RAW, _SHOT)  # told apart by their ``t``


def encode_readings(pack: ReadingPack) -> bytes:
    """Bytes of a reading pack; the same pack always gives the same bytes."""
    head: dict[str, Any] = {"bn": f"ohmbath:{pack.station}:{pack.rig}:"}
    if pack.utc_s is not None:
        head["bt"] = pack.utc_s
    records: list[dict[str, Any]] = [
        {**head, "n": "boot", "vs": pack.boot},
        {"n": "seq", "v": pack.seq},
        {"n": "rig_time", "u": "s", "v": round(pack.rig_time_s, 3)},
        {"n": "simulated", "vb": pack.simulated},
        {"n": "decade", "u": "Ohm", "v": pack.decade_ohm},
        {"n": "insertion", "vs": pack.insertion.value},
        {"n": "range", "u": "Ohm", "v": pack.range_ohm},
    ]
    if pack.sender_duty is not None:
        records.append({"n": _DUTY, "u": "/", "v": pack.sender_duty})
    if pack.infrared_emissivity is not None:
        records.append({"n": _CELL, "u": "/", "v": pack.infrared_emissivity})
    if pack.clock_step_s is not None:
        records.append({"n": "clock.step", "u": "s", "v": pack.clock_step_s})
    for name, reading in pack.channels.items():
        if reading.raw is not None:
            records.append({"n": f"{name}.raw", "u": "count", "v": reading.raw})
        records.append({"n": f"{name}.quality", "vs": reading.quality.value})
        if reading.reason is not None:
            records.append({"n": f"{name}.reason", "vs": reading.reason})
        if reading.value is not None:
            records.append({"n": name, "u": CHANNEL_UNITS[name], "v": reading.value})
    records.extend({"n": name, "u": "count", "v": count} for name, count in pack.taps.items())
    for single in pack.burst:
        ago_s = 0.0 - round(single.before_s, 3)
        records.append({"n": _BURST_RAW, "u": "count", "v": single.raw, "t": ago_s})
        if single.value is not None:
            records.append({"n": _BURST, "u": CHANNEL_UNITS["sender"], "v": single.value, "t": ago_s})
    records.extend({"n": _SHOT, "vb": True, "t": 0.0 - round(ago_s, 3)} for ago_s in pack.shots_before_s)
    return compact_json(records)


def encode_gap(gap: GapPack) -> bytes:
    """Bytes of a declared gap."""
    return compact_json(
        [
            {"bn": f"ohmbath:{gap.station}:{gap.rig}:", "n": "boot", "vs": gap.boot},
            {"n": "gap.from", "v": gap.first},
            {"n": "gap.to", "v": gap.last},
            {"n": "gap.reason", "vs": gap.reason},
        ]
    )


def decode_readings(payload: bytes, *, station: str) -> ReadingPack | GapPack:
    """Pack of ``payload``, checked against the contract.

    Parameters
    ----------
    payload : bytes
        As it came from the wire.
    station : str
        Station of the topic it came on.

    Raises
    ------
    MessageError
        If it is not such a pack; ``boot`` and ``seq`` are set where readable.
    """
    if len(payload) > MAX_MESSAGE_BYTES:
        raise MessageError(f"{len(payload)} bytes, over the limit of {MAX_MESSAGE_BYTES}")
    # NaN is let through to be refused where it stands, so that the key of its pack is kept
    value = parse_json(payload, take_constant=float)
    if not isinstance(value, list) or not value:
        raise MessageError("a SenML pack is a JSON array of at least one record")
    records = _records(value)
    boot, seq = _key(records)
    try:
        rig, utc_s = _base(value[0], station)
        if boot is None:
            raise MessageError("no readable boot")
        if "gap.from" in records:
            return _gap(records, station=station, rig=rig, boot=boot)
        if seq is None:
            raise MessageError("no readable seq")
        return _readings(records, station=station, rig=rig, boot=boot, seq=seq, utc_s=utc_s)
    except MessageError as error:
        raise MessageError(str(error), boot=boot, seq=seq) from error


def _records(value: list[Any]) -> dict[str, dict[str, Any]]:
    """Records by name. A damaged record goes under its name, or is left to `_check_record`."""
    found: dict[str, dict[str, Any]] = {}
    for number, record in enumerate(value):
        if isinstance(record, dict) and isinstance(record.get("n"), str):
            if record["n"] in _MANY:
                found[f"{record['n']}#{number}"] = record
            elif record["n"] in found:
                found[f"#{number}"] = {"duplicate": record["n"]}
            else:
                found[record["n"]] = record
        else:
            found[f"#{number}"] = {"malformed": number}
    return found


def _key(records: Mapping[str, Mapping[str, Any]]) -> tuple[str | None, int | None]:
    boot = records.get("boot", {}).get("vs")
    seq = records.get("seq", {}).get("v")
    readable_boot = boot if isinstance(boot, str) and is_boot(boot) else None
    readable_seq = seq if isinstance(seq, int) and not isinstance(seq, bool) and 0 < seq < 2**53 else None
    return readable_boot, readable_seq


def _base(first: Any, station: str) -> tuple[str, float | None]:
    if not isinstance(first, dict):
        raise MessageError("the first record is not an object")
    name = first.get("bn")
    parts = name.split(":") if isinstance(name, str) else []
    if len(parts) != 4 or parts[0] != "ohmbath" or parts[3] or not parts[2]:
        raise MessageError(f"bn must be 'ohmbath:<station>:<rig>:', not {shown(name)}")
    if not is_station(parts[1]) or parts[1] != station:
        raise MessageError(f"bn names station {parts[1]!r:.40}, the topic names {station!r}")
    check_text(parts[2], "bn")
    if "bt" not in first:
        return parts[2], None
    utc_s = _number(first["bt"], "bt")
    if not _ABSURD_UTC_S[0] <= utc_s <= _ABSURD_UTC_S[1]:
        raise MessageError(f"bt {utc_s} is no UTC of this century; seconds since boot never go there")
    return parts[2], utc_s


_LABELS = frozenset({"bn", "bt", "n", "u", "v", "vs", "vb", "t"})


def _number(value: Any, name: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or abs(value) > 1e300:
        raise MessageError(f"{name} must be a finite number, not {shown(value)}")
    number = float(value)
    if not math.isfinite(number):
        raise MessageError(f"{name} must be a finite number")
    return number


def _take(records: dict[str, dict[str, Any]], name: str, label: str, unit: str | None = None) -> Any:
    record = records.pop(name, None)
    if record is None:
        raise MessageError(f"no record {name!r}")
    extra = record.keys() - _LABELS
    if extra:
        raise MessageError(f"{name}: label {sorted(extra)[0]!r:.40} is not of the contract")
    if sum(key in record for key in ("v", "vs", "vb")) != 1 or label not in record:
        raise MessageError(f"{name}: exactly one value, {label!r}, is expected")
    if record.get("u") != unit:
        raise MessageError(f"{name}: unit must be {unit!r}, not {shown(record.get('u'))}")
    if "t" in record and _number(record["t"], f"{name}: t") > 0:
        raise MessageError(f"{name}: t must not be after the pass")
    value = record[label]
    if label == "v":
        return _number(value, name)
    if label == "vs" and isinstance(value, str):
        return check_text(value, name)
    if label == "vb" and isinstance(value, bool):
        return value
    raise MessageError(f"{name}: {label} has the wrong type")


def _gap(records: dict[str, dict[str, Any]], *, station: str, rig: str, boot: str) -> GapPack:
    first, last = _take(records, "gap.from", "v"), _take(records, "gap.to", "v")
    reason = _take(records, "gap.reason", "vs")
    if first != int(first) or last != int(last) or not 1 <= first <= last < 2**53:
        raise MessageError(f"a gap runs from a number to one not below it, not {first} to {last}")
    if reason not in GAP_REASONS:
        raise MessageError(f"gap.reason must be one of {', '.join(GAP_REASONS)}")
    return GapPack(station=station, rig=rig, boot=boot, first=int(first), last=int(last), reason=reason)


def _readings(
    records: dict[str, dict[str, Any]], *, station: str, rig: str, boot: str, seq: int, utc_s: float | None
) -> ReadingPack:
    _take(records, "boot", "vs")
    _take(records, "seq", "v")
    rig_time_s = _take(records, "rig_time", "v", "s")
    simulated = _take(records, "simulated", "vb")
    decade_ohm = _within_span(_take(records, "decade", "v", "Ohm"), "decade", "Ohm")
    insertion = _word(Insertion, _take(records, "insertion", "vs"), "insertion")
    range_ohm = _within_span(_take(records, "range", "v", "Ohm"), "range", "Ohm")
    step_s = _take(records, "clock.step", "v", "s") if "clock.step" in records else None
    duty = _within_span(_take(records, _DUTY, "v", "/"), _DUTY, "/") if _DUTY in records else None
    cell = _within_span(_take(records, _CELL, "v", "/"), _CELL, "/") if _CELL in records else None
    channels = {name: _channel(records, name) for name in CHANNEL_UNITS if f"{name}.quality" in records}
    taps = {name: _take(records, name, "v", "count") for name in TAP_NAMES if name in records}
    burst, shots_before_s = _burst(records), _shots(records)
    if records:
        raise MessageError(f"record {next(iter(records))!r:.40} is not of the contract")
    if rig_time_s < 0:
        raise MessageError(f"rig_time {rig_time_s} is before the start")
    return ReadingPack(
        station=station, rig=rig, boot=boot, seq=seq, rig_time_s=rig_time_s, simulated=simulated,
        decade_ohm=decade_ohm, insertion=insertion, range_ohm=range_ohm, sender_duty=duty, channels=channels,
        taps=taps, utc_s=utc_s, clock_step_s=step_s, burst=burst, shots_before_s=shots_before_s,
        infrared_emissivity=cell,
    )  # fmt: skip


def _burst(records: dict[str, dict[str, Any]]) -> tuple[BurstReading, ...]:
    """Single conversions of a burst: each has a raw count, and ohms at the same ``t`` where usable."""
    names = [name for name in records if name.startswith(f"{_BURST}#")]
    values_ohm = {}
    for name in names:
        ago_s = _ago_s(records[name])
        values_ohm[ago_s] = _within_span(_take(records, name, "v", "Ohm"), _BURST, "Ohm")
    singles = []
    for name in [name for name in records if name.startswith(f"{_BURST_RAW}#")]:
        ago_s = _ago_s(records[name])
        raw = _take(records, name, "v", "count")
        singles.append(BurstReading(before_s=0.0 - ago_s, raw=raw, value=values_ohm.pop(ago_s, None)))
    if values_ohm:
        raise MessageError(f"{_BURST}: ohms without a count")
    if len(singles) > LONGEST_BURST:
        raise MessageError(f"{_BURST}: more than {LONGEST_BURST} single conversions")
    if any(before.before_s <= after.before_s for before, after in pairwise(singles)):
        raise MessageError(f"{_BURST}: the oldest comes first, and no two at one time")
    return tuple(singles)


def _shots(records: dict[str, dict[str, Any]]) -> tuple[float, ...]:
    names = [name for name in records if name.startswith(f"{_SHOT}#")]
    if len(names) > MOST_SHOTS:
        raise MessageError(f"{_SHOT}: more than {MOST_SHOTS} presses in one pass")
    shots_before_s = tuple(0.0 - _ago_s(records[name]) for name in names)
    if not all(_take(records, name, "vb") for name in names):
        raise MessageError(f"{_SHOT}: must be true")
    return shots_before_s


def _ago_s(record: Mapping[str, Any]) -> float:
    return _number(record.get("t", 0.0), f"{_BURST}: t")


def _channel(records: dict[str, dict[str, Any]], name: str) -> ChannelReading:
    quality = _word(Quality, _take(records, f"{name}.quality", "vs"), f"{name}.quality")
    raw = _take(records, f"{name}.raw", "v", "count") if f"{name}.raw" in records else None
    reason = _take(records, f"{name}.reason", "vs") if f"{name}.reason" in records else None
    value = None
    if name in records:
        unit = CHANNEL_UNITS[name]
        value = _within_span(_take(records, name, "v", unit), name, unit)
    return ChannelReading(quality=quality, raw=raw, value=value, reason=reason)


def _word(kind: type[_Word], text: str, name: str) -> _Word:
    try:
        return kind(text)
    except ValueError as error:
        raise MessageError(f"{name} must be one of {', '.join(kind)}, not {text!r:.40}") from error


def _within_span(value: float, name: str, unit: str) -> float:
    low, high = _ABSURD[unit]
    if not low <= value <= high:
        raise MessageError(f"{name} {value:g} {unit} is absurd: outside {low:g} to {high:g}")
    return value
