"""Pages of the probe check: what it takes, its history, and what came of one."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from flask import Blueprint, abort, g, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from host.errors import DeskError
from host.local_time import local_day
from host.people.role import STAFF
from host.procedures.references.probe_check import ProbeChecks, ProbeCheckSettings, points_of
from host.quantity import altitude_m_of, pressure_pa_of, resistance_ohm_of
from host.store.instrument_kind import InstrumentKind
from host.web.desk_behind import the_desk
from host.web.instrument_choice import InstrumentChoice
from host.web.kind_result_view import kind_result_view_of
from host.web.operator import operator_of
from host.web.paper_of_run import paper_of_run
from host.web.rules import allowed
from host.web.text_field import take_text

probe_check_pages = Blueprint("probe_check", __name__)

_FIELDS = (
    "probe",
    "ice_ohm",
    "ice_error_ohm",
    "boiling_ohm",
    "boiling_error_ohm",
    "pressure",
    "altitude",
    "limit_k",
    "operator",
)


@probe_check_pages.get("/probe-check")
@allowed(*STAFF)
def index() -> str:
    """What it takes, the form, and every check so far; ``serial`` or ``station`` says of which probe."""
    asked = {name: request.args.get(name, "") for name in ("serial", "station")}
    return _index(dict.fromkeys(_FIELDS, "") | {"probe": _probes().proposed(**asked)}, {})


@probe_check_pages.post("/probe-check")
@allowed(*STAFF)
def check() -> AnyResponse | tuple[str, int]:
    """Judge what was read and let its certificate out, or say beside the field why not."""
    typed = {name: request.form.get(name, "").strip() for name in _FIELDS}
    errors: dict[str, str] = {}
    take_text(typed, "operator", "your name", errors)
    settings = _settings(typed, errors)
    if errors or settings is None:
        return _index(typed, errors), 422
    settings = replace(settings, operator=operator_of(settings.operator))
    try:
        run = ProbeChecks(the_desk().store).conclude(settings, shop=g.settings.shop, today=_today())
    except DeskError as error:
        return _index(typed, {"form": str(error)}), 422
    return redirect(f"/probe-check/{run}", 303)


@probe_check_pages.get("/probe-check/<int:run>")
@allowed(*STAFF)
def result(run: int) -> str:
    """What came of it."""
    store = the_desk().store
    try:
        ProbeChecks(store).settings(run)
    except DeskError as error:
        abort(404, description=str(error))
    paper = paper_of_run(store, run)
    if paper is None:  # the desk was killed between the readings and their paper
        raise DeskError(f"Probe check {run:04d} came to no paper: type its readings again.")
    return render_template(
        "probe_check_result.html",
        run=run,
        paper_of_run=paper,
        result=kind_result_view_of(paper.files, g.scale),
    )


def _settings(typed: dict[str, str], errors: dict[str, str]) -> ProbeCheckSettings | None:
    try:
        probe = _probes().chosen(typed["probe"]).in_force
    except DeskError as error:
        errors["probe" if _probes().standings else "form"] = str(error)
        return None

    def read(name: str, of: Callable[[str], float]) -> float | None:
        if not typed[name]:
            return None
        try:
            return of(typed[name])
        except (DeskError, ValueError) as error:
            errors[name] = str(error) if isinstance(error, DeskError) else "Write a number above zero."
            return None

    fields: dict[str, Any] = {
        name: read(name, resistance_ohm_of) for name in _FIELDS if name.endswith("_ohm")
    }
    for where in ("ice", "boiling"):
        if fields[f"{where}_ohm"] is not None and fields[f"{where}_error_ohm"] is None:
            errors.setdefault(f"{where}_error_ohm", "Write how far the meter may be off there, in Ω.")
        fields[f"{where}_error_ohm"] = fields[f"{where}_error_ohm"] or 0.0
    pressure_pa = read("pressure", pressure_pa_of)
    return ProbeCheckSettings(
        item=f"Reference probe {probe.serial}",
        probe=dict(probe.content),
        pressure_kpa=None if pressure_pa is None else pressure_pa / 1000.0,
        altitude_m=read("altitude", altitude_m_of),
        limit_k=read("limit_k", _limit_k),
        rule=g.settings.rule.value,
        operator=typed["operator"],
        simulated=probe.simulated,
        **fields,
    )


def _probes() -> InstrumentChoice:
    return InstrumentChoice.of(the_desk().store.register.standings(), InstrumentKind.PROBE)


def _limit_k(text: str) -> float:
    limit_k = float(text)
    if not 0.0 < limit_k <= 10.0:
        raise DeskError("Write a number of kelvin above 0 and up to 10.")
    return limit_k


def _today() -> Any:
    return local_day(the_desk().store.now(), g.settings.zone)


def _index(typed: dict[str, str], errors: dict[str, str]) -> str:
    store = the_desk().store
    rows = [
        (number, at_s, str(settings.probe["serial"]), points_of(settings))
        for number, at_s, settings in ProbeChecks(store).history()
    ]
    return render_template(
        "probe_check.html",
        form={"typed": typed, "errors": errors},
        probes=_probes(),
        rows=rows,
        withdrawn=store.certificates.withdrawn_runs(),
    )
