"""Pages of the register: the list, one instrument, and the forms that change them."""

from collections.abc import Mapping

from flask import Blueprint, abort, g, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from host.errors import DeskError
from host.people.role import STAFF
from host.store.instrument_kind import InstrumentKind
from host.store.instrument_marks import Mark
from host.store.instrument_standing import InstrumentStanding
from host.web.desk_behind import the_desk
from host.web.instrument_form import InstrumentForm, empty_form, filled_form, pasted_form
from host.web.instrument_view import instrument_view
from host.web.operator import operator_of
from host.web.register_list import register_groups, troubles
from host.web.rules import allowed
from host.web.shop_day import shop_day

register_pages = Blueprint("register", __name__)

_LONGEST_FILE = 60_000


@register_pages.get("/register")
@allowed(*STAFF)
def index() -> str:
    """Every instrument by what it is for, trouble first."""
    standings = the_desk().store.register.standings()
    months = g.settings.recalibration_months
    return render_template(
        "register.html",
        groups=register_groups(standings, today=shop_day(), months_by_kind=months),
        troubles=troubles(standings, today=shop_day(), months_by_kind=months),
        kinds=tuple(InstrumentKind),
    )


@register_pages.get("/register/add")
@allowed(*STAFF)
def add_form() -> str:
    """Form of a kind, or a whole file."""
    kind = _kind(request.args.get("kind", ""))
    form = pasted_nothing() if kind is None else empty_form(kind, g.scale, request.args)
    return _add_page(form)


@register_pages.post("/register/add")
@allowed(*STAFF)
def add() -> AnyResponse | tuple[str, int]:
    """Add what was typed, or say beside the field why not."""
    kind = _kind(request.form.get("kind", ""))
    form = _pasted() if kind is None else filled_form(kind, request.form)
    if form.entry is None:
        return _add_page(form), 422
    register = the_desk().store.register
    added = register.add(form.entry)
    return redirect(f"/register/{register.standing(added.kind, added.serial).number}", 303)


@register_pages.get("/register/<int:number>")
@allowed(*STAFF)
def instrument(number: int) -> str:
    """One instrument: certificates, history, where it was used."""
    return _instrument_page(_standing(number), {}, {})


@register_pages.get("/register/<serial>")
@allowed(*STAFF)
def by_serial(serial: str) -> AnyResponse:
    """The way in by what stands on the instrument."""
    for standing in the_desk().store.register.standings():
        if standing.serial == serial:
            return redirect(f"/register/{standing.number}", 302)
    abort(404, description=f"The register holds no instrument with the serial {serial!r:.60}.")


@register_pages.post("/register/<int:number>/mark")
@allowed(*STAFF)
def mark(number: int) -> AnyResponse | tuple[str, int]:
    """Mark an instrument as failed, retired or put to use, with the reason."""
    standing = _standing(number)
    typed = {"mark": request.form.get("mark", ""), "reason": request.form.get("reason", "")}
    if typed["mark"] not in tuple(Mark):
        return _instrument_page(standing, typed, {"mark": "Choose what is to be said of it."}), 422
    try:
        the_desk().store.register.mark(
            standing.kind,
            standing.serial,
            Mark(typed["mark"]),
            reason=typed["reason"],
            by=operator_of(""),
        )
    except DeskError as error:
        return _instrument_page(standing, typed, {"reason": str(error)}), 422
    return redirect(f"/register/{number}", 303)


def pasted_nothing() -> InstrumentForm:
    """Form of a whole file, still empty."""
    return InstrumentForm(kind=None, typed={"file": ""})


def _pasted() -> InstrumentForm:
    """A whole file, from the disk or from the clipboard."""
    upload = request.files.get("upload")
    if upload is None or not upload.filename:
        return pasted_form(request.form.get("file", ""))
    try:
        text = upload.read(_LONGEST_FILE).decode("utf-8-sig")
    except UnicodeDecodeError:
        words = "This file is no UTF-8 text: choose the TOML file, or paste its text."
        return InstrumentForm(kind=None, typed={"file": request.form.get("file", "")}, errors={"file": words})
    return pasted_form(text)


def _kind(word: str) -> InstrumentKind | None:
    return InstrumentKind(word) if word in tuple(InstrumentKind) else None


def _standing(number: int) -> InstrumentStanding:
    for standing in the_desk().store.register.standings():
        if standing.number == number:
            return standing
    abort(404, description=f"The register holds no instrument {number}.")


def _add_page(form: InstrumentForm) -> str:
    return render_template("register_add.html", form=form, kinds=tuple(InstrumentKind))


def _instrument_page(
    standing: InstrumentStanding, typed: Mapping[str, str], errors: Mapping[str, str]
) -> str:
    view = instrument_view(
        standing,
        the_desk().store,
        today=shop_day(),
        months_by_kind=g.settings.recalibration_months,
        scale=g.scale,
    )
    return render_template("instrument.html", view=view, marks=tuple(Mark), typed=typed, errors=errors)
