"""A curve's TOML file, read and checked row by row."""

import hashlib
import math
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any

from calibration.curves.reference_curve import CurveRow, ReferenceCurve
from calibration.errors import CurveError
from calibration.temperature_scale import celsius_from_fahrenheit
from calibration.thermistor import ThermistorCurve
from calibration.thermistor.beta import BetaCurve
from calibration.thermistor.steinhart_hart import SteinhartHart, SteinhartHartSquare
from calibration.thermistor.table import TableCurve

UNKNOWN = "unknown"

_KEYS = {
    "title", "source", "tolerance", "tolerance_percent", "wiring", "allowed_current_ma", "note", "rows",
    "coefficients",
}  # fmt: skip
_ROW_KEYS = {
    "temperature_c", "temperature_f", "resistance_ohm", "min_ohm", "max_ohm", "tolerance_percent",
}  # fmt: skip
_FORMS: dict[str, tuple[type[Any], tuple[str, ...], tuple[str, ...]]] = {
    "beta": (BetaCurve, ("r25_ohm", "beta_k"), ()),
    "steinhart_hart": (SteinhartHart, ("a", "b", "c"), ()),
    "steinhart_hart_square": (SteinhartHartSquare, ("a", "b", "c", "d"), ("reference_ohm",)),
}
# A document rounds to whole degrees on one of its two scales. [K]
_SCALES_AGREE_K = 0.5 + 1e-9


def curve_from_toml(text: str, *, name: str) -> ReferenceCurve:
    """Reference curve from the text of its file.

    Parameters
    ----------
    text : str
        TOML: ``title``, ``source``, ``tolerance`` and ``wiring`` in words or ``unknown``,
        ``allowed_current_ma``, and either ``rows`` or ``[coefficients]``.
    name : str
        The name it goes by.

    Raises
    ------
    CurveError
        If it has no source, its table does not fall steadily, its °C and °F disagree, or anything
        else stands in the way; the message names the row as it stands in the file.
    """
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise CurveError(f"Curve {name}: not a TOML file ({error}).") from error
    try:
        return _curve(content, name=name, content_hash=hash_of(text))
    except CurveError as error:
        raise CurveError(f"Curve {name}: {error}") from error


def hash_of(text: str) -> str:
    """SHA-256 of a curve's text, the same whatever system wrote its line ends."""
    return hashlib.sha256(text.replace("\r\n", "\n").encode()).hexdigest()


def _curve(content: Mapping[str, Any], *, name: str, content_hash: str) -> ReferenceCurve:
    _refuse_unknown_keys(content, _KEYS, "the file")
    source = _words(content, "source")
    if source.strip().lower() == UNKNOWN:
        raise CurveError("the source is unknown. Name the document the curve was printed in.")
    tolerance = _words(content, "tolerance")
    if ("rows" in content) == ("coefficients" in content):
        raise CurveError("give either rows or coefficients, one of them.")
    coefficients: tuple[tuple[str, float], ...] = ()
    if "rows" in content:
        rows = tuple(_rows(content))
        nominal: ThermistorCurve = _table(rows, "resistance_ohm")
        limited = rows[0].min_ohm is not None
        form, span = "table", (rows[0].temperature_c, rows[-1].temperature_c)
        percent: float | None = None
    else:
        rows, limited = (), "tolerance_percent" in content
        form, coefficients, nominal, span = _equation(content["coefficients"])
        percent = _positive(content, "tolerance_percent", "the file") if limited else None
    _refuse_words_without_limits(tolerance, limited)
    return ReferenceCurve(
        name=name,
        title=_words(content, "title"),
        source=source,
        tolerance=tolerance,
        wiring=_words(content, "wiring"),
        allowed_current_ma=_allowed_current_ma(content),
        note=_words(content, "note") if "note" in content else "",
        content_hash=content_hash,
        rows=rows,
        form=form,
        coefficients=coefficients,
        nominal=nominal,
        lower=_table(rows, "min_ohm") if rows and limited else None,
        upper=_table(rows, "max_ohm") if rows and limited else None,
        tolerance_percent=percent,
        valid_from_c=span[0],
        valid_to_c=span[1],
    )


def _rows(content: Mapping[str, Any]) -> list[CurveRow]:
    written = content["rows"]
    if not isinstance(written, list) or len(written) < 2 or not all(isinstance(r, dict) for r in written):
        raise CurveError("rows must be a list of at least two rows, each like {temperature_c = 20, …}.")
    overall = content.get("tolerance_percent")
    numbered = [(number, _row(row, f"row {number}", overall)) for number, row in enumerate(written, start=1)]
    numbered.sort(key=lambda pair: pair[1].temperature_c)
    limited = {row.min_ohm is not None for _, row in numbered}
    if len(limited) == 2:
        number = next(number for number, row in numbered if row.min_ohm is None)
        raise CurveError(f"row {number} has no limits while others have: give every row limits, or none.")
    for key in ("resistance_ohm", "min_ohm", "max_ohm"):
        _refuse_disorder(numbered, key)
    return [row for _, row in numbered]


def _row(row: Mapping[str, Any], where: str, overall_percent: object) -> CurveRow:
    _refuse_unknown_keys(row, _ROW_KEYS, where)
    temperature_c = _temperature_c(row, where)
    where = f"{where} ({temperature_c:.4g} °C)"
    has_limits = "min_ohm" in row or "max_ohm" in row
    least = _positive(row, "min_ohm", where) if has_limits else None
    largest = _positive(row, "max_ohm", where) if has_limits else None
    if least is not None and largest is not None and not least < largest:
        raise CurveError(f"{where}: min_ohm must be below max_ohm. Compare with the document.")
    if "resistance_ohm" in row:
        nominal = _positive(row, "resistance_ohm", where)
    elif least is not None and largest is not None:
        nominal = (least + largest) / 2.0
    else:
        raise CurveError(f"{where}: no resistance_ohm and no min_ohm and max_ohm. Add what is printed.")
    percent_of_row = _positive(row, "tolerance_percent", where) if "tolerance_percent" in row else None
    percent = percent_of_row if percent_of_row is not None else overall_percent
    if least is None and isinstance(percent, int | float):
        least, largest = nominal * (1.0 - percent / 100.0), nominal * (1.0 + percent / 100.0)
    if least is not None and largest is not None and not 0.0 < least < nominal < largest:
        raise CurveError(
            f"{where}: {nominal:g} Ω does not lie between the limits. Compare with the document."
        )
    return CurveRow(temperature_c=temperature_c, resistance_ohm=nominal, min_ohm=least, max_ohm=largest)


def _temperature_c(row: Mapping[str, Any], where: str) -> float:
    if "temperature_f" not in row:
        temperature_c = _number(row, "temperature_c", where)
    else:
        temperature_f = _number(row, "temperature_f", where)
        from_f_c = celsius_from_fahrenheit(temperature_f)
        temperature_c = _number(row, "temperature_c", where) if "temperature_c" in row else from_f_c
        if abs(temperature_c - from_f_c) > _SCALES_AGREE_K:
            raise CurveError(
                f"{where}: {temperature_c:g} °C and {temperature_f:g} °F disagree ({temperature_f:g} °F is "
                f"{from_f_c:.1f} °C). Find out which the document means."
            )
    if not temperature_c > -273.15:
        raise CurveError(f"{where}: {temperature_c:g} °C is below absolute zero.")
    return temperature_c


def _refuse_disorder(numbered: list[tuple[int, CurveRow]], key: str) -> None:
    for (_, before), (number, row) in zip(numbered, numbered[1:], strict=False):
        here, previous = getattr(row, key), getattr(before, key)
        if here is None:
            return
        if row.temperature_c == before.temperature_c:
            raise CurveError(f"row {number}: {row.temperature_c:g} °C stands there twice. Remove one.")
        if not here < previous:
            raise CurveError(
                f"row {number} ({row.temperature_c:g} °C): {here:g} Ω is not below the {previous:g} Ω at "
                f"{before.temperature_c:g} °C ({key}). Compare that row with the document."
            )


def _table(rows: tuple[CurveRow, ...], key: str) -> TableCurve:
    return TableCurve(
        temperatures_c=tuple(row.temperature_c for row in rows),
        resistances_ohm=tuple(getattr(row, key) for row in rows),
    )


def _equation(
    table: object,
) -> tuple[str, tuple[tuple[str, float], ...], ThermistorCurve, tuple[float, float]]:
    where = "coefficients"
    if not isinstance(table, dict) or table.get("form") not in _FORMS:
        raise CurveError(f"coefficients need a form: {', '.join(_FORMS)}.")
    form = table["form"]
    kind, names, optional = _FORMS[form]
    _refuse_unknown_keys(table, {"form", "valid_from_c", "valid_to_c", *names, *optional}, where)
    given = [*names, *(key for key in optional if key in table)]
    coefficients = tuple((key, _number(table, key, where)) for key in given)
    span = (_number(table, "valid_from_c", where), _number(table, "valid_to_c", where))
    if not -273.15 < span[0] < span[1]:
        raise CurveError("coefficients: valid_from_c must be below valid_to_c and above absolute zero.")
    nominal: ThermistorCurve = kind(**dict(coefficients))
    _refuse_an_equation_that_turns(nominal, span)
    return form, coefficients, nominal, span


def _refuse_an_equation_that_turns(nominal: ThermistorCurve, span: tuple[float, float]) -> None:
    steps = [span[0] + (span[1] - span[0]) * step / 50.0 for step in range(51)]
    before = math.inf
    for temperature_c in steps:
        try:
            here = nominal.resistance_ohm(temperature_c)
        except (CurveError, ArithmeticError):
            here = math.nan
        if not 0.0 < here < before:
            raise CurveError(
                f"coefficients: the resistance does not fall at {temperature_c:.4g} °C. Compare them with "
                "the document: a sign or an exponent is wrong."
            )
        before = here


def _refuse_words_without_limits(tolerance: str, limited: bool) -> None:
    known = tolerance.strip().lower() != UNKNOWN
    if known and not limited:
        raise CurveError(
            f"the tolerance is said in words ({tolerance}) but no limits are given: add min_ohm and max_ohm "
            'or tolerance_percent, or write tolerance = "unknown".'
        )
    if limited and not known:
        raise CurveError("there are limits but the tolerance is unknown: say in words how it is printed.")


def _allowed_current_ma(content: Mapping[str, Any]) -> float | None:
    if content.get("allowed_current_ma") == UNKNOWN:
        return None
    return _positive(content, "allowed_current_ma", "the file")


def _words(content: Mapping[str, Any], key: str) -> str:
    words = content.get(key)
    if not isinstance(words, str) or not words.strip():
        raise CurveError(
            f"no {key}. Every curve says its {key}"
            + ("." if key in {"title", "source", "note"} else f', or {key} = "unknown".')
        )
    return words


def _positive(table: Mapping[str, Any], key: str, where: str) -> float:
    number = _number(table, key, where)
    if not number > 0.0:
        raise CurveError(f"{where}: {key} = {number:g} must be above zero.")
    return number


def _number(table: Mapping[str, Any], key: str, where: str) -> float:
    number = table.get(key)
    if isinstance(number, bool) or not isinstance(number, int | float) or not math.isfinite(number):
        found = "is missing" if number is None else f"= {number!r} is no number"
        raise CurveError(f"{where}: {key} {found}.")
    return float(number)


def _refuse_unknown_keys(table: Mapping[str, Any], known: set[str], where: str) -> None:
    unknown = next(_unknown_keys(table, known), None)
    if unknown is not None:
        raise CurveError(f"{where}: {unknown!r} is not known here. Known: {', '.join(sorted(known))}.")


def _unknown_keys(table: Mapping[str, Any], known: set[str]) -> Iterator[str]:
    return (key for key in table if key not in known)
