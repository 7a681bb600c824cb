"""Pages of the reference curves: list, one of them, import, two beside each other, and find out."""

from flask import Blueprint, abort, g, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from calibration.curves import ReferenceCurve
from calibration.curves.curve_comparison import CurveComparison, compare_curves
from calibration.diagnosis import points_by_hand
from calibration.errors import CurveError
from calibration.identification import Identification, identify
from calibration.thermistor.fit_point import FitPoint
from host.curve_choice import all_curves, curve_by_name
from host.identification_words import identification_sentence
from host.people.role import ALL_ROLES, STAFF
from host.quantity import QuantityError, resistance_ohm_of, temperature_c_of
from host.typed_check import ASSUMED_U_RESISTANCE_PERCENT, ASSUMED_U_TEMPERATURE_K
from host.web.curve_import import CurveForm, imported
from host.web.curve_list import every_curve
from host.web.curve_view import comparison_charts, curve_rows, curve_view, degrees_text, ohm_text
from host.web.desk_behind import the_desk
from host.web.operator import operator_of
from host.web.rules import allowed

curves_pages = Blueprint("curves", __name__)

_LONGEST_FILE = 60_000
_MOST_POINTS = 40
_WORTH_A_ROW = 0.001


@curves_pages.get("/curves")
@allowed(*ALL_ROLES)
def index() -> str:
    """Every curve with a small chart."""
    return render_template("curves.html", rows=curve_rows(the_desk().store))


@curves_pages.get("/curves/<name>")
@allowed(*ALL_ROLES)
def curve(name: str) -> str:
    """One curve in full."""
    return render_template("curve.html", view=curve_view(_curve(name), the_desk().store, g.scale))


@curves_pages.get("/curves/add")
@allowed(*STAFF)
def add_form() -> str:
    """Form for a table of a service manual, or a file."""
    return render_template("curve_add.html", form=CurveForm(typed={"scale": g.scale.value}))


@curves_pages.post("/curves/add")
@allowed(*STAFF)
def add() -> AnyResponse | tuple[str, int]:
    """Add a curve, or say beside the field why not."""
    upload = request.files.get("upload")
    name = upload.filename if upload is not None and upload.filename else ""
    text = None
    if upload is not None and name:
        try:
            text = upload.read(_LONGEST_FILE).decode("utf-8-sig")
        except UnicodeDecodeError:
            form = CurveForm(typed=dict(request.form), errors={"upload": "Save the file as UTF-8 text."})
            return render_template("curve_add.html", form=form), 422
    form = imported(request.form, text, name, the_desk().store.curves, added_by=operator_of(""))
    if form.added is None:
        return render_template("curve_add.html", form=form), 422
    return redirect(f"/curves/{form.added}", 303)


@curves_pages.get("/curves/compare")
@allowed(*ALL_ROLES)
def compare() -> str:
    """Two curves over their common range."""
    chosen = (request.args.get("first", ""), request.args.get("second", ""))
    comparison: CurveComparison | None = None
    trouble = ""
    if all(chosen):
        try:
            comparison = compare_curves(_curve(chosen[0]), _curve(chosen[1]))
        except CurveError as error:
            trouble = str(error)
    return render_template(
        "curves_compare.html",
        names=every_curve(the_desk().store),
        chosen=chosen,
        comparison=comparison,
        charts=None if comparison is None else comparison_charts(comparison, g.scale),
        trouble=trouble,
        degrees_text=degrees_text,
        ohm_text=ohm_text,
    )


@curves_pages.get("/curves/find-out")
@allowed(*ALL_ROLES)
def find_out() -> tuple[str, int]:
    """Which curve a part follows, from a few points; nothing is kept."""
    typed = request.args.get("points", "")
    found: Identification | None = None
    trouble = ""
    if "points" in request.args:
        try:
            found = _identified(typed, request.args.get("in", g.scale.value) == "f")
        except QuantityError as error:
            trouble = str(error)
    page = render_template(
        "curves_find_out.html",
        typed=typed,
        scale_typed=request.args.get("in", g.scale.value),
        found=found,
        rows=() if found is None else [one for one in found.candidates if one.probability >= _WORTH_A_ROW],
        sentence=None if found is None else identification_sentence(found),
        trouble=trouble,
        stations=[live.station for live in the_desk().live.stations()],
        assumed=(ASSUMED_U_TEMPERATURE_K, ASSUMED_U_RESISTANCE_PERCENT),
    )
    return page, 422 if trouble else 200


def _identified(text: str, fahrenheit: bool) -> Identification:
    lines = [line.split() for line in text.replace(";", " ").splitlines() if line.strip()]
    if not 2 <= len(lines) <= _MOST_POINTS:
        raise QuantityError(
            text[:20], f"Type 2 to {_MOST_POINTS} points, one a line: temperature, then resistance."
        )
    points = [_point(number, cells, fahrenheit) for number, cells in enumerate(lines, start=1)]
    return identify(points_by_hand(points), list(all_curves(the_desk().store.curves)))


def _point(number: int, cells: list[str], fahrenheit: bool) -> FitPoint:
    if len(cells) != 2:
        raise QuantityError(" ".join(cells), f"line {number}: type temperature and resistance, as 20 2450.")
    unit = "" if cells[0][-1:].upper() in ("C", "F") else "F" if fahrenheit else "C"
    try:
        temperature_c, ohm = temperature_c_of(cells[0] + unit), resistance_ohm_of(cells[1])
    except QuantityError as error:
        raise QuantityError(" ".join(cells), f"line {number}: {error}") from error
    return FitPoint(
        temperature_c=temperature_c,
        resistance_ohm=ohm,
        u_temperature_k=ASSUMED_U_TEMPERATURE_K,
        u_resistance_ohm=ASSUMED_U_RESISTANCE_PERCENT / 100.0 * ohm,
    )


def _curve(name: str) -> ReferenceCurve:
    try:
        return curve_by_name(name, the_desk().store.curves)
    except CurveError as error:
        abort(404, description=str(error))
