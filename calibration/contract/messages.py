"""Checks shared by every message: JSON in, plain typed fields out."""

import json
import math
import reprlib
from collections.abc import Callable
from typing import Any

from calibration.contract.topics import CONTRACT, MAX_MESSAGE_BYTES


class MessageError(ValueError):
    """A message that cannot be taken as it is.

    Attributes
    ----------
    boot : str or None
        Boot of the message, where it could still be read.
    seq : int or None
        Number of the message in its boot, where it could still be read. A message
        with a readable key counts as accounted for, or one bad pack would block a
        station for ever.
    """

    def __init__(self, reason: str, *, boot: str | None = None, seq: int | None = None) -> None:
        super().__init__(reason)
        self.boot = boot
        self.seq = seq


def shown(value: Any) -> str:
    """Short words for a value of any size and depth, for a reason."""
    return reprlib.repr(value)[:60]


def check_text(text: str, name: str) -> str:
    """Text that every database and every page can hold: no half characters, no NUL.

    Raises
    ------
    MessageError
        If it is not such a text.
    """
    try:
        text.encode("utf-8")
    except UnicodeEncodeError as error:
        raise MessageError(f"{name} holds half a character") from error
    if "\0" in text:
        raise MessageError(f"{name} holds a NUL character")
    return text


def _refuse_constant(word: str) -> Any:
    raise MessageError(f"{word} is not a number that JSON knows")


def parse_json(payload: bytes, *, take_constant: Callable[[str], Any] = _refuse_constant) -> Any:
    """Parse JSON strictly: UTF-8, no NaN, no Infinity.

    Parameters
    ----------
    payload : bytes
        As it came from the wire.
    take_constant : Callable[[str], Any]
        What to make of NaN and Infinity, where whoever asks refuses them later.

    Raises
    ------
    MessageError
        If ``payload`` is not such a text.
    """
    try:
        return json.loads(payload.decode("utf-8"), parse_constant=take_constant)
    except MessageError:
        raise
    except (ValueError, RecursionError) as error:
        raise MessageError(f"not JSON: {error}") from error


def parse_object(payload: bytes) -> dict[str, Any]:
    """Parse a JSON object of at most the size of the wire, refusing anything else."""
    if len(payload) > MAX_MESSAGE_BYTES:
        raise MessageError(f"{len(payload)} bytes, over the limit of {MAX_MESSAGE_BYTES}")
    value = parse_json(payload)
    if not isinstance(value, dict):
        raise MessageError(f"a JSON object was expected, not {type(value).__name__}")
    if b"\\u" in payload:  # half a surrogate pair passes as JSON, but no database takes it as text
        try:
            check_text(json.dumps(value, ensure_ascii=False), "the message")
        except RecursionError as error:
            raise MessageError("nested too deep") from error
    return value


def contract_fields(payload: bytes) -> dict[str, Any]:
    """Parse an object that says which contract it is of, refusing any other."""
    fields = parse_object(payload)
    if fields.get("contract") != CONTRACT:
        said = shown(fields.get("contract"))
        raise MessageError(f"contract {said} is not {CONTRACT}: upgrade the desk first")
    return fields


def text_field(fields: dict[str, Any], name: str, *, default: str | None = None) -> str:
    """Field that must be text."""
    value = fields.get(name, default)
    if not isinstance(value, str):
        raise MessageError(f"{name} must be text, not {shown(value)}")
    return check_text(value, name)


def integer_field(fields: dict[str, Any], name: str, *, minimum: int = 0) -> int:
    """Field that must be a whole number."""
    value = fields.get(name)
    if isinstance(value, bool) or not isinstance(value, int) or value < minimum or value > 2**53:
        raise MessageError(f"{name} must be a whole number from {minimum}, not {shown(value)}")
    return value


def number_field(fields: dict[str, Any], name: str) -> float:
    """Field that must be a finite number."""
    value = fields.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise MessageError(f"{name} must be a number, not {shown(value)}")
    try:
        number = float(value)
    except OverflowError as error:
        raise MessageError(f"{name} is too large a number") from error
    if not math.isfinite(number):
        raise MessageError(f"{name} must be a finite number")
    return number


def flag_field(fields: dict[str, Any], name: str) -> bool:
    """Field that must be true or false."""
    value = fields.get(name)
    if not isinstance(value, bool):
        raise MessageError(f"{name} must be true or false, not {shown(value)}")
    return value


def object_field(fields: dict[str, Any], name: str) -> dict[str, Any]:
    """Field that must be an object."""
    value = fields.get(name)
    if not isinstance(value, dict):
        raise MessageError(f"{name} must be an object, not {shown(value)}")
    return value


def compact_json(value: Any) -> bytes:
    """JSON with the shortest decimals that give each double back, never NaN."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode("utf-8")
