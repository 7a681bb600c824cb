"""Fields of a register file, checked one by one; what is wrong is said with the field it stands in."""

import math
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from host.certificates.errors import CertificateError
from host.certificates.printable import refuse_unprintable
from host.errors import DeskError

#: Longest text of one field.
LONGEST_FIELD = 64


class RegisterFileError(DeskError):
    """A register file that cannot be taken as it is; the words name the field.

    Attributes
    ----------
    field : str
        Field that is wrong; empty where it is none of them.
    """

    def __init__(self, message: str, *, field: str = "") -> None:
        super().__init__(message)
        self.field = field


def one_line(fields: Mapping[str, Any], name: str) -> str:
    """Text of one line that every certificate can print."""
    value = fields.get(name)
    if not isinstance(value, str) or not value.strip():
        raise RegisterFileError(
            f'{name} is missing or empty: write {name} = "…" from the certificate.', field=name
        )
    if not value.isprintable() or len(value) > LONGEST_FIELD:
        raise RegisterFileError(f"{name} must be one line of at most {LONGEST_FIELD} characters.", field=name)
    try:
        refuse_unprintable(value, name, longest=LONGEST_FIELD)
    except CertificateError as error:  # it stands on every certificate that rests on this instrument
        raise RegisterFileError(str(error), field=name) from error
    return value


def number(fields: Mapping[str, Any], name: str, where: str = "") -> float:
    """Finite number; ``where`` names the row it stands in, as in ``step 2: ``."""
    value = fields.get(name)
    field = where.split()[0] if where else name
    if value is None:
        raise RegisterFileError(
            f"{where}{name} is missing: write {name} = … from the certificate.", field=field
        )
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise RegisterFileError(f"{where}{name} must be a number, not {value!r:.40}.", field=field)
    return float(value)


def above_zero(fields: Mapping[str, Any], name: str, where: str = "") -> float:
    """Number above zero."""
    value = number(fields, name, where)
    if value <= 0.0:
        raise RegisterFileError(
            f"{where}{name} must be above zero, not {value:g}.", field=where.split()[0] if where else name
        )
    return value


def day(fields: Mapping[str, Any], name: str) -> date | None:
    """Day, None where there is none."""
    value = fields.get(name)
    if value is None:
        return None
    wrong = RegisterFileError(f"{name} must be a date like 2025-03-01, not {value!r:.40}.", field=name)
    if isinstance(value, str):
        try:
            return date.fromisoformat(value)
        except ValueError as error:
            raise wrong from error
    if isinstance(value, datetime) or not isinstance(value, date):
        raise wrong
    return value


def truth(fields: Mapping[str, Any], name: str) -> bool:
    """True or false; false where it is not said."""
    value = fields.get(name, False)
    if not isinstance(value, bool):
        raise RegisterFileError(f"{name} must be true or false.", field=name)
    return value


def table_rows(fields: Mapping[str, Any], name: str) -> Sequence[Mapping[str, Any]]:
    """Rows of ``[[name]]``; empty where there are none."""
    rows = fields.get(name, [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise RegisterFileError(f"{name} is no table: write one [[{name}]] for each row.", field=name)
    return rows


def coverage_factor(fields: Mapping[str, Any]) -> float:
    """Coverage factor, as far as papers have them."""
    k = number(fields, "k")
    if not 1 <= k <= 15:
        raise RegisterFileError(
            f"k must be a coverage factor from 1 to 15, not {k:g}; most papers say 2.", field="k"
        )
    return k


def refuse_unknown(fields: Mapping[str, Any], known: set[str], where: str = "") -> None:
    """Refuse a field that no instrument of the kind has."""
    for name in fields:
        if name not in known:
            raise RegisterFileError(
                f"{where}{name} is no field of this file: use {', '.join(sorted(known))}.",
                field=where.split()[0] if where else "",
            )
