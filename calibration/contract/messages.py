"""Checks shared by every message: JSON in, plain typed fields out."""

import json
import math
from typing import Any


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


def _refuse_constant(word: str) -> Any:
    raise MessageError(f"{word} is not a number that JSON knows")


def parse_json(payload: bytes) -> Any:
    """Parse JSON strictly: UTF-8, no NaN, no Infinity.

    Raises
    ------
    MessageError
        If ``payload`` is not such a text.
    """
    try:
        value = json.loads(payload.decode("utf-8"), parse_constant=_refuse_constant)
        if b"\\u" in payload:  # half a surrogate pair passes as JSON, but no database takes it as text
            json.dumps(value, ensure_ascii=False).encode("utf-8")
        return value
    except MessageError:
        raise
    except (ValueError, RecursionError) as error:
        raise MessageError(f"not JSON: {error}") from error


def parse_object(payload: bytes) -> dict[str, Any]:
    """Parse a JSON object, refusing anything else."""
    value = parse_json(payload)
    if not isinstance(value, dict):
        raise MessageError(f"a JSON object was expected, not {type(value).__name__}")
    return value


def text_field(fields: dict[str, Any], name: str, *, default: str | None = None) -> str:
    """Field that must be text."""
    value = fields.get(name, default)
    if not isinstance(value, str):
        raise MessageError(f"{name} must be text, not {value!r:.40}")
    return value


def integer_field(fields: dict[str, Any], name: str, *, minimum: int = 0) -> int:
    """Field that must be a whole number."""
    value = fields.get(name)
    if isinstance(value, bool) or not isinstance(value, int) or value < minimum or value > 2**53:
        raise MessageError(f"{name} must be a whole number from {minimum}, not {value!r:.40}")
    return value


def number_field(fields: dict[str, Any], name: str) -> float:
    """Field that must be a finite number."""
    value = fields.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise MessageError(f"{name} must be a number, not {value!r:.40}")
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
        raise MessageError(f"{name} must be true or false, not {value!r:.40}")
    return value


def object_field(fields: dict[str, Any], name: str) -> dict[str, Any]:
    """Field that must be an object."""
    value = fields.get(name)
    if not isinstance(value, dict):
        raise MessageError(f"{name} must be an object, not {value!r:.40}")
    return value


def compact_json(value: Any) -> bytes:
    """JSON with the shortest decimals that give each double back, never NaN."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode("utf-8")
