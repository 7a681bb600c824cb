"""The joining file: what ties a rig to one desk's store, in one file that a person carries over."""

import json
import tomllib
from dataclasses import dataclass, field
from typing import Any

from calibration.contract.messages import MessageError, integer_field, text_field
from calibration.contract.topics import is_station

JOIN_FORMAT = 1

_HEAD = (
    "# Joins one rig to one desk: give it to `ohmbath-rig join`. It holds a password: keep it to yourself.\n"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class JoinFile:
    """Everything a rig must know of its desk.

    Attributes
    ----------
    station : str
        Station that the rig becomes.
    store : str
        Store that it follows from then on, and no other.
    host, port : str, int
        Where the broker listens.
    username, password : str or None
        What the broker wants to see, where it wants anything.
    ca_pem : str or None
        Certificate authority of the broker; None speaks without TLS.
    """

    station: str
    store: str
    host: str
    port: int
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    ca_pem: str | None = field(default=None, repr=False)


def encode_join_file(join: JoinFile) -> str:
    """Text of a joining file, TOML."""
    entries: dict[str, str | int | None] = {
        "format": JOIN_FORMAT,
        "station": join.station,
        "store": join.store,
        "host": join.host,
        "port": join.port,
        "username": join.username,
        "password": join.password,
        "ca_pem": join.ca_pem,
    }
    # a JSON text without escaped surrogates is a TOML text
    lines = [
        f"{name} = {json.dumps(value, ensure_ascii=False)}\n".replace("\x7f", "\\u007f")
        for name, value in entries.items()
        if value is not None
    ]
    return _HEAD + "".join(lines)


def decode_join_file(text: str) -> JoinFile:
    """Joining file of ``text``.

    Raises
    ------
    MessageError
        If it is none; says which entry.
    """
    try:
        fields: dict[str, Any] = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise MessageError(f"it is no joining file: {error}") from error
    if fields.get("format") != JOIN_FORMAT:
        raise MessageError(f"format {fields.get('format')!r:.20} is not {JOIN_FORMAT}: upgrade this rig")
    station, store = text_field(fields, "station"), text_field(fields, "store")
    if not is_station(station):
        raise MessageError(f"{station!r:.40} is no station name")
    if not 0 < len(store) <= 64 or not store.isascii() or not store.isprintable():
        raise MessageError("store must be 1 to 64 plain characters")
    host, port = text_field(fields, "host"), integer_field(fields, "port", minimum=1)
    if not host or port > 65535:
        raise MessageError(f"{host!r:.60}, port {port}, is no address")
    username, password = _optional(fields, "username"), _optional(fields, "password")
    if (username is None) != (password is None):
        raise MessageError("username and password stand together or not at all")
    return JoinFile(
        station=station,
        store=store,
        host=host,
        port=port,
        username=username,
        password=password,
        ca_pem=_optional(fields, "ca_pem"),
    )


def _optional(fields: dict[str, Any], name: str) -> str | None:
    return text_field(fields, name) if name in fields else None
