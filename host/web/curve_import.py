"""The form that adds a curve of the shop's own: a typed or pasted table, a CSV file, or a TOML file."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from calibration.errors import CurveError
from host.store.own_curves import LONGEST_WORDS, OwnCurves
from host.typed_curve import curve_text_of_table, name_of_title
from host.web.text_field import take_text

FIELDS = (
    "name", "title", "source", "table", "tolerance_percent", "wiring", "allowed_current_ma", "note", "scale",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveForm:
    """The form as typed; ``added`` is the name of the curve where nothing is wrong."""

    typed: Mapping[str, str]
    errors: Mapping[str, str] = field(default_factory=dict)
    added: str | None = None


def imported(
    posted: Mapping[str, str],
    uploaded: str | None,
    file_name: str,
    own: OwnCurves,
    *,
    added_by: str = "",
) -> CurveForm:
    """Add the curve that was typed, pasted or uploaded, or say beside the field why not.

    Parameters
    ----------
    posted : Mapping[str, str]
    uploaded : str or None
        Text of a file that was chosen; it counts before the table.
    file_name : str
        Of that file: ``.toml`` is a whole curve, anything else a table.
    own : OwnCurves
    added_by : str
        Who is signed in; empty at an open desk.
    """
    typed = {name: posted.get(name, "").strip() for name in FIELDS}
    if uploaded is not None and file_name.lower().endswith(".toml"):
        return _added(typed, typed["name"] or file_name[:-5].lower(), uploaded, own, "upload", added_by)
    if uploaded is not None:
        typed["table"] = uploaded
    errors: dict[str, str] = {}
    for name in ("title", "source", "wiring", "note"):
        take_text(typed, name, f"the {name}", errors, longest=LONGEST_WORDS[name])
    for name, words in (
        ("title", "Write what it is of, for example “sender of a delivery van, 1.9 l”."),
        ("source", "Write where it is printed: document, edition, page. No curve without a source."),
    ):
        if not typed[name]:
            errors[name] = words
    numbers: dict[str, float | None] = {}
    for name in ("tolerance_percent", "allowed_current_ma"):
        numbers[name] = _number(typed[name])
        if typed[name] and numbers[name] is None:
            errors[name] = "Write a number above zero, decimals with a point, or leave it empty."
    if errors:
        return CurveForm(typed=typed, errors=errors)
    try:
        text = curve_text_of_table(
            title=typed["title"],
            source=typed["source"],
            table=typed["table"],
            temperatures_in_f=typed["scale"] == "f",
            tolerance_percent=numbers["tolerance_percent"],
            wiring=typed["wiring"],
            allowed_current_ma=numbers["allowed_current_ma"],
            note=typed["note"],
        )
    except CurveError as error:
        return CurveForm(typed=typed, errors={"table": str(error)})
    return _added(typed, typed["name"] or name_of_title(typed["title"]), text, own, "table", added_by)


def _added(
    typed: Mapping[str, str], name: str, text: str, own: OwnCurves, where: str, added_by: str
) -> CurveForm:
    try:
        own.add(name, text, added_by=added_by)
    except CurveError as error:
        of_name = "name for a curve" in str(error) or "another name" in str(error)
        return CurveForm(typed=typed, errors={"name" if of_name else where: str(error)})
    return CurveForm(typed=typed, added=name)


def _number(text: str) -> float | None:
    try:
        number = float(text)
    except ValueError:
        return None
    return number if 0.0 < number < math.inf else None
