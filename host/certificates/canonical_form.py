"""How any value of a certificate becomes JSON and is read back, by the types of its fields.

A number is written in full and in the characters that `host.certificates.reported` gives for
its field. A field that is missing takes its default, so that a later version may add some.
"""

import base64
import dataclasses
import functools
import types
import typing
from collections.abc import Mapping
from enum import Enum
from typing import Any

from host.certificates.reported import derived_numbers, reported_texts


def to_data(value: Any) -> dict[str, Any]:
    """Fields of a value as JSON, with what is derived from them beside them."""
    texts = reported_texts(value)
    data = {
        field.name: _data(getattr(value, field.name), texts.get(field.name), field.metadata.get("each"))
        for field in dataclasses.fields(value)
    }
    return data | {name: _number(full, text) for name, (full, text) in derived_numbers(value).items()}


def from_data(kind: type[Any], read: Mapping[str, Any], **given: Any) -> Any:
    """A value of a class from its JSON; fields in ``given`` are taken as they are.

    Raises
    ------
    KeyError, TypeError, ValueError
        If a field is missing that has no default, or is not what it should be.
    """
    entries = dict(given)
    for field in dataclasses.fields(kind):
        if field.name in entries:
            continue
        if field.name not in read and _has_default(field):
            continue
        entries[field.name] = _value(
            _types_of(kind)[field.name], read[field.name], field.metadata.get("each")
        )
    return kind(**entries)


def _data(value: Any, text: Any, each: tuple[str, ...] | None) -> Any:
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, str):
        return value
    if isinstance(value, bytes):
        return base64.b64encode(value).decode("ascii")
    if isinstance(value, float | int):
        if text is None:
            raise TypeError(f"no text is reported for the number {value!r}")
        return _number(float(value), text)
    if isinstance(value, tuple):
        if each is not None:
            return [dict(zip(each, entry, strict=True)) for entry in value]
        texts = text if text is not None else [None] * len(value)
        return [_data(entry, said, None) for entry, said in zip(value, texts, strict=True)]
    return to_data(value)


def _value(kind: Any, read: Any, each: tuple[str, ...] | None) -> Any:
    origin = typing.get_origin(kind)
    if origin in (types.UnionType, typing.Union):
        if read is None:
            return None
        (kind,) = (one for one in typing.get_args(kind) if one is not type(None))
        return _value(kind, read, each)
    if origin is tuple:
        return _tuple(typing.get_args(kind), read, each)
    if dataclasses.is_dataclass(kind) and isinstance(kind, type):
        return from_data(kind, read)
    if kind is float:
        return float(_text(read["full"]))
    if kind is bool:
        return _truth(read)
    if kind is bytes:
        return base64.b64decode(_text(read), validate=True)
    if isinstance(kind, type) and issubclass(kind, Enum):
        return kind(read)
    return _text(read)


def _tuple(parts: tuple[Any, ...], read: Any, each: tuple[str, ...] | None) -> tuple[Any, ...]:
    if not isinstance(read, list):
        raise TypeError(f"{read!r} where a list was due")
    if each is not None:
        return tuple(tuple(_text(entry[name]) for name in each) for entry in read)
    if parts[-1] is Ellipsis:
        return tuple(_value(parts[0], entry, None) for entry in read)
    return tuple(_value(part, entry, None) for part, entry in zip(parts, read, strict=True))


@functools.cache
def _types_of(kind: type[Any]) -> dict[str, Any]:
    return typing.get_type_hints(kind)


def _has_default(field: dataclasses.Field[Any]) -> bool:
    return field.default is not dataclasses.MISSING or field.default_factory is not dataclasses.MISSING


def _number(full: float, reported: str) -> dict[str, str]:
    return {"reported": reported, "full": repr(float(full))}


def _text(read: Any) -> str:
    if not isinstance(read, str):
        raise TypeError(f"{read!r} where text was due")
    return read


def _truth(read: Any) -> bool:
    if not isinstance(read, bool):
        raise TypeError(f"{read!r} where true or false was due")
    return read
