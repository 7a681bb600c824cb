"""Register files: what a person copies from an instrument's paper certificate into TOML.

A probe::

    kind = "probe"
    serial = "P-0007"
    certificate = "K 1234"
    issuer = "Calibration laboratory"
    issued = 2025-03-01
    due = 2026-03-01              # optional
    model = "steinhart_hart"
    a = 1.125e-3
    b = 2.347e-4
    c = 8.566e-8
    expanded_u_k = 0.05
    k = 2.0
    valid_from_c = 0.0
    valid_to_c = 105.0

or, in place of ``a``, ``b`` and ``c``, three or more ``[[point]]`` with ``temperature_c`` and
``resistance_ohm``, to which they are fitted.

A decade box gives ``residual_ohm`` (all switches at zero) and one ``[[step]]`` with
``nominal_ohm`` and ``certified_ohm`` for each certified resistance, and its uncertainty as
``expanded_u_relative``, ``expanded_u_ohm`` or both, for the whole box or in a step.

A thermometer with a display (``witness``, ``infrared``, ``scan_tool``, ``gauge``) gives ``resolution_k``, its
maker's ``accuracy_k`` (and ``accuracy_percent``), or one ``[[point]]`` with ``shown_c``, ``correction_k`` and
``expanded_u_k`` for each certified temperature and then ``k``. One that was never calibrated has its maker's
word for a certificate: ``certificate = "none, as bought"``. An infrared thermometer says as well
``emissivity`` (a number where it is fixed, ``"settable"`` where it is not), ``distance_to_spot`` (12 for
12 : 1), ``smallest_spot_mm`` where its maker gives it, ``band_from_um`` and ``band_to_um``. With
points, where its emissivity can be set, it says ``certified_emissivity``: the setting that its corrections
were found with and hold for.

The infrared sensor of a station (``rig_infrared``) gives the same as a thermometer with a display, its
``station``, and with points ``certified_emissivity``: what its emissivity cell held.

An artefact that goes round the stations gives ``k``, and ``resistance_ohm`` with ``expanded_u_ohm`` where it
is a fixed resistor, or ``curve`` with one ``[[point]]`` with ``temperature_c``, ``error_k`` (indicated minus
true) and ``expanded_u_k`` for each temperature where it is a sender.

``station = "bench-3"``: it is kept at that station, and only its runs rest on it; a station takes an
instrument of its own before one that is kept at none.

``adjusted = true``: it was adjusted before these values were taken, so its history begins anew with them.
"""

import hashlib
import json
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from calibration.contract.topics import is_station
from host.store.instrument_kind import InstrumentKind
from host.store.register_fields import RegisterFileError, day, one_line, truth
from host.store.register_kinds import checked_kind

__all__ = ["KINDS", "RegisterEntry", "RegisterFileError", "read_register_file", "register_entry"]

KINDS = tuple(kind.value for kind in InstrumentKind)

_COMMON_TEXTS = ("serial", "certificate", "issuer")
_COMMON_FIELDS = {"kind", *_COMMON_TEXTS, "issued", "due", "simulated", "adjusted", "station"}


@dataclass(frozen=True, slots=True, kw_only=True)
class RegisterEntry:
    """A checked register file: canonical JSON ``content``, its digest, and what is searched by."""

    kind: str
    serial: str
    due: date | None
    content: str
    sha256: str


def read_register_file(toml_text: str) -> RegisterEntry:
    """Check a register file.

    Raises
    ------
    RegisterFileError
        If anything is missing, of the wrong kind, impossible, or unknown.
    """
    try:
        fields = tomllib.loads(toml_text)
    except tomllib.TOMLDecodeError as error:
        raise RegisterFileError(f"This is no TOML file: {error}") from error
    return register_entry(fields)


def register_entry(fields: Mapping[str, Any]) -> RegisterEntry:
    """Check the fields of a register file, from whatever they were read.

    Raises
    ------
    RegisterFileError
        If anything is missing, of the wrong kind, impossible, or unknown.
    """
    kind = fields.get("kind")
    if kind not in KINDS:
        raise RegisterFileError(
            f'kind must be one of {", ".join(KINDS)}, not {kind!r}: write kind = "probe".', field="kind"
        )
    due = _check_common(fields)
    complete = checked_kind(InstrumentKind(kind), fields, _COMMON_FIELDS)
    content = content_text(complete)
    return RegisterEntry(
        kind=kind, serial=fields["serial"], due=due, content=content, sha256=digest_of(content)
    )


def content_text(content: Mapping[str, Any]) -> str:
    """Content as canonical JSON: the same for the same content, however it was laid out."""
    return json.dumps(content, default=date.isoformat, ensure_ascii=False, allow_nan=False, sort_keys=True)


def digest_of(content: str) -> str:
    """SHA-256 of canonical JSON."""
    return hashlib.sha256(content.encode("utf-8")).hexdigest()


def _check_common(fields: Mapping[str, Any]) -> date | None:
    for name in _COMMON_TEXTS:
        one_line(fields, name)
    issued = day(fields, "issued")
    if issued is None:
        raise RegisterFileError(
            "issued is missing: write the certificate's date as issued = 2025-03-01.", field="issued"
        )
    due = day(fields, "due")
    if due is not None and due < issued:
        raise RegisterFileError(f"due ({due}) is before issued ({issued}): check both dates.", field="due")
    _check_station(fields)
    truth(fields, "simulated")
    truth(fields, "adjusted")
    return due


def _check_station(fields: Mapping[str, Any]) -> None:
    station = fields.get("station")
    if station is not None and not (isinstance(station, str) and is_station(station)):
        raise RegisterFileError(
            "station must be the name of the station that it is kept at, such as bench-3; leave it out where "
            "it goes from one to another.",
            field="station",
        )
