"""What a rig says of itself, and what a desk says it has stored. Both are retained."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from calibration.contract.messages import (
    MessageError,
    check_text,
    compact_json,
    contract_fields,
    flag_field,
    integer_field,
    number_field,
    object_field,
    text_field,
)
from calibration.contract.topics import CONTRACT, is_boot


@dataclass(frozen=True, slots=True, kw_only=True)
class Obeys:
    """The store a rig follows, and how far it has heard of it.

    Attributes
    ----------
    boots : Mapping[str, int]
        Watermarks as the rig heard them. A desk that has less than that is an older copy of itself.
    """

    store: str
    epoch: int
    n: int
    boots: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Presence:
    """Retained state of a rig; ``gone`` is its last will. A hint only.

    Attributes
    ----------
    connect : int
        Count of connections in this boot; the newest (boot, connect) holds.
    holds : Mapping[str, tuple[int, int]]
        First and last number in the outbox, by boot.
    speed : float
        Rig seconds in a wall second; 1 on metal, 0 where simulation runs as fast as it can.
    trouble : tuple[str, ...]
        Words for the person at the bench.
    """

    state: str
    rig: str
    boot: str
    connect: int
    holds: Mapping[str, tuple[int, int]]
    speed: float
    simulated: bool
    synchronised: bool
    version: str
    obeys: Obeys | None = None
    trouble: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Stored:
    """Retained word of the desk: all of 1 … W of each boot is accounted for.

    Attributes
    ----------
    boots : Mapping[str, int]
        Watermark by boot.
    window : int
        How far beyond the watermark a rig may send.
    keep : tuple[str, int] or None
        (boot, seq) where an open run began.
    """

    store: str
    epoch: int
    n: int
    boots: Mapping[str, int]
    window: int = 200
    keep: tuple[str, int] | None = field(default=None)


def encode_presence(presence: Presence) -> bytes:
    """Bytes of a presence message."""
    obeys = presence.obeys
    return compact_json(
        {
            "contract": CONTRACT,
            "state": presence.state,
            "rig": presence.rig,
            "boot": presence.boot,
            "connect": presence.connect,
            "holds": {boot: list(span) for boot, span in presence.holds.items()},
            "obeys": None if obeys is None else _obeys_fields(obeys),
            "speed": presence.speed,
            "simulated": presence.simulated,
            "synchronised": presence.synchronised,
            "version": presence.version,
            "trouble": list(presence.trouble),
        }
    )


def decode_presence(payload: bytes) -> Presence:
    """Presence of ``payload``, checked against the contract.

    Raises
    ------
    MessageError
        If it is not such a message.
    """
    fields = contract_fields(payload)
    state = text_field(fields, "state")
    if state not in ("up", "gone"):
        raise MessageError(f"state must be 'up' or 'gone', not {state!r:.20}")
    trouble = fields.get("trouble")
    if not isinstance(trouble, list) or not all(isinstance(line, str) for line in trouble):
        raise MessageError("trouble must be a list of texts")
    return Presence(
        state=state,
        rig=text_field(fields, "rig"),
        boot=_boot_text(text_field(fields, "boot")),
        connect=integer_field(fields, "connect"),
        holds=_spans(object_field(fields, "holds")),
        obeys=_obeys(fields),
        speed=number_field(fields, "speed"),
        simulated=flag_field(fields, "simulated"),
        synchronised=flag_field(fields, "synchronised"),
        version=text_field(fields, "version"),
        trouble=tuple(check_text(line, "trouble") for line in trouble),
    )


def encode_stored(stored: Stored) -> bytes:
    """Bytes of a stored message."""
    return compact_json(
        {
            "contract": CONTRACT,
            "store": stored.store,
            "epoch": stored.epoch,
            "n": stored.n,
            "boots": dict(stored.boots),
            "window": stored.window,
            "keep": None if stored.keep is None else list(stored.keep),
        }
    )


def decode_stored(payload: bytes) -> Stored:
    """Stored message of ``payload``, checked against the contract.

    Raises
    ------
    MessageError
        If it is not such a message.
    """
    fields = contract_fields(payload)
    boots = object_field(fields, "boots")
    return Stored(
        store=text_field(fields, "store"),
        epoch=integer_field(fields, "epoch"),
        n=integer_field(fields, "n"),
        boots=_marks(boots),
        window=integer_field(fields, "window", minimum=1),
        keep=_keep(fields),
    )


def _boot_text(text: str) -> str:
    if not is_boot(text):
        raise MessageError(f"{text!r:.40} is not a boot")
    return text


def _keep(fields: Mapping[str, Any]) -> tuple[str, int] | None:
    keep = fields.get("keep")
    if keep is None:
        return None
    if not (isinstance(keep, list) and len(keep) == 2 and isinstance(keep[0], str)):
        raise MessageError("keep must be [boot, seq] or null")
    return _boot_text(keep[0]), integer_field({"keep": keep[1]}, "keep")


def _obeys_fields(obeys: Obeys) -> dict[str, Any]:
    return {"store": obeys.store, "epoch": obeys.epoch, "n": obeys.n, "boots": dict(obeys.boots)}


def _marks(boots: dict[str, Any]) -> dict[str, int]:
    return {_boot_text(boot): integer_field(boots, boot) for boot in boots}


def _obeys(fields: Mapping[str, Any]) -> Obeys | None:
    if fields.get("obeys") is None:
        return None
    inner = object_field(dict(fields), "obeys")
    return Obeys(
        store=text_field(inner, "store"),
        epoch=integer_field(inner, "epoch"),
        n=integer_field(inner, "n"),
        boots=_marks(object_field(inner, "boots")) if "boots" in inner else {},
    )


def _spans(holds: Mapping[str, Any]) -> dict[str, tuple[int, int]]:
    spans: dict[str, tuple[int, int]] = {}
    for boot, span in holds.items():
        if not (isinstance(span, list) and len(span) == 2):
            raise MessageError("holds gives [first, last] for each boot")
        ends = {"first": span[0], "last": span[1]}
        spans[_boot_text(boot)] = (integer_field(ends, "first"), integer_field(ends, "last"))
    return spans
