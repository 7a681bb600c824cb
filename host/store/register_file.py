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

A decade box gives ``residual_ohm`` (all switches at zero) and one ``[[step]]`` with
``nominal_ohm`` and ``certified_ohm`` for each certified resistance, and its uncertainty as
``expanded_u_relative``, ``expanded_u_ohm`` or both, for the whole box or in a step.
"""

import hashlib
import json
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from host.errors import DeskError


class RegisterFileError(DeskError):
    """A register file that cannot be taken as it is; the words name the field."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RegisterEntry:
    """A checked register file: canonical JSON ``content``, its digest, and what is searched by."""

    kind: str
    serial: str
    due: date | None
    content: str
    sha256: str


_COMMON_TEXTS = ("serial", "certificate", "issuer")
_COMMON_FIELDS = {"kind", *_COMMON_TEXTS, "issued", "due", "simulated"}
_PROBE_NUMBERS = ("a", "b", "c", "expanded_u_k", "k", "valid_from_c", "valid_to_c")
_BOX_U_FIELDS = ("expanded_u_relative", "expanded_u_ohm")
KINDS = ("probe", "decade_box")


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
    kind = fields.get("kind")
    if kind not in KINDS:
        raise RegisterFileError(
            f'kind must be one of {", ".join(KINDS)}, not {kind!r}: write kind = "probe".'
        )
    due = _check_common(fields)
    if kind == "probe":
        _check_probe(fields)
    else:
        _check_decade_box(fields)
    content = json.dumps(fields, default=date.isoformat, ensure_ascii=False, allow_nan=False, sort_keys=True)
    return RegisterEntry(
        kind=kind,
        serial=fields["serial"],
        due=due,
        content=content,
        sha256=hashlib.sha256(content.encode("utf-8")).hexdigest(),
    )


def _check_common(fields: Mapping[str, Any]) -> date | None:
    for name in _COMMON_TEXTS:
        value = fields.get(name)
        if not isinstance(value, str) or not value.strip():
            raise RegisterFileError(f'{name} is missing or empty: write {name} = "…" from the certificate.')
        if not value.isprintable() or len(value) > 64:
            raise RegisterFileError(f"{name} must be one line of at most 64 characters.")
    issued = _date(fields, "issued")
    if issued is None:
        raise RegisterFileError("issued is missing: write the certificate's date as issued = 2025-03-01.")
    due = _date(fields, "due")
    if due is not None and due < issued:
        raise RegisterFileError(f"due ({due}) is before issued ({issued}): check both dates.")
    if not isinstance(fields.get("simulated", False), bool):
        raise RegisterFileError("simulated must be true or false.")
    return due


def _check_probe(fields: Mapping[str, Any]) -> None:
    _refuse_unknown(fields, _COMMON_FIELDS | {"model", *_PROBE_NUMBERS})
    if fields.get("model") != "steinhart_hart":
        raise RegisterFileError(
            f'model must be "steinhart_hart", not {fields.get("model")!r}: 1/T = a + b·ln R + c·(ln R)³.'
        )
    numbers = {name: _number(fields, name) for name in _PROBE_NUMBERS}
    for name in ("b", "c", "expanded_u_k"):
        if numbers[name] <= 0:
            raise RegisterFileError(f"{name} must be above zero, not {numbers[name]:g}.")
    _check_coverage_factor(numbers["k"])
    if numbers["valid_from_c"] >= numbers["valid_to_c"]:
        raise RegisterFileError(
            f"valid_from_c ({numbers['valid_from_c']:g}) must be below "
            f"valid_to_c ({numbers['valid_to_c']:g})."
        )


def _check_decade_box(fields: Mapping[str, Any]) -> None:
    _refuse_unknown(fields, _COMMON_FIELDS | {"residual_ohm", "k", "step", *_BOX_U_FIELDS})
    if _number(fields, "residual_ohm") < 0:
        raise RegisterFileError("residual_ohm must not be below zero.")
    _check_coverage_factor(_number(fields, "k"))
    steps = fields.get("step")
    if not isinstance(steps, list) or not steps or not all(isinstance(step, dict) for step in steps):
        raise RegisterFileError("step is missing: write one [[step]] for each certified resistance.")
    seen: set[float] = set()
    for number, step in enumerate(steps, start=1):
        nominal_ohm = _check_step(fields, step, f"step {number}: ")
        if nominal_ohm in seen:
            raise RegisterFileError(f"step {number}: nominal_ohm {nominal_ohm:g} stands twice.")
        seen.add(nominal_ohm)


def _check_step(fields: Mapping[str, Any], step: Mapping[str, Any], where: str) -> float:
    _refuse_unknown(step, {"nominal_ohm", "certified_ohm", *_BOX_U_FIELDS}, where)
    nominal_ohm = _number(step, "nominal_ohm", where)
    certified_ohm = _number(step, "certified_ohm", where)
    if nominal_ohm <= 0 or certified_ohm <= 0:
        raise RegisterFileError(f"{where}nominal_ohm and certified_ohm must be above zero.")
    if abs(certified_ohm / nominal_ohm - 1) > 0.1:
        raise RegisterFileError(
            f"{where}certified_ohm {certified_ohm:g} is more than 10 % from nominal_ohm {nominal_ohm:g}: "
            "check for kilohms or a slipped digit."
        )
    parts = [_number({**fields, **step}, name, where) for name in _BOX_U_FIELDS if name in {**fields, **step}]
    if not parts or min(parts) < 0 or max(parts) == 0:
        raise RegisterFileError(
            f"{where}an uncertainty above zero is needed: expanded_u_relative, expanded_u_ohm or both."
        )
    return nominal_ohm


def _check_coverage_factor(k: float) -> None:
    if not 1 <= k <= 15:
        raise RegisterFileError(f"k must be a coverage factor from 1 to 15, not {k:g}; most papers say 2.")


def _number(fields: Mapping[str, Any], name: str, where: str = "") -> float:
    value = fields.get(name)
    if value is None:
        raise RegisterFileError(f"{where}{name} is missing: write {name} = … from the certificate.")
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise RegisterFileError(f"{where}{name} must be a number, not {value!r:.40}.")
    return float(value)


def _date(fields: Mapping[str, Any], name: str) -> date | None:
    value = fields.get(name)
    if value is None:
        return None
    if isinstance(value, str):
        try:
            return date.fromisoformat(value)
        except ValueError as error:
            raise RegisterFileError(f"{name} must be a date like 2025-03-01, not {value!r:.40}.") from error
    if isinstance(value, datetime) or not isinstance(value, date):
        raise RegisterFileError(f"{name} must be a date like 2025-03-01, not {value!r:.40}.")
    return value


def _refuse_unknown(fields: Mapping[str, Any], known: set[str], where: str = "") -> None:
    for name in fields:
        if name not in known:
            raise RegisterFileError(
                f"{where}{name} is no field of this file: use {', '.join(sorted(known))}."
            )
