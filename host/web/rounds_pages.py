"""Pages of rounds: the list and the form that begins one, an open round, what came of it.

A round tells how each station reads, so a fault that was planted at one shows in it: students have no part.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

from flask import Blueprint, Response, abort, g, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from host.certificates.results.of_station_round import station_round_results
from host.errors import DeskError
from host.people.role import STAFF
from host.procedures.rounds.finished_checks import CheckedError, finished_checks, is_of
from host.procedures.rounds.resistor_reading import WINDOW_S, read_resistor
from host.procedures.rounds.station_round import Source, StationRoundState
from host.procedures.rounds.station_round_result import body_of, next_action_of, sentence_of
from host.procedures.rounds.station_round_runs import NewResult, StationRounds, StationRoundView
from host.procedures.rounds.station_round_settings import Quantity
from host.procedures.sender.sender_check_start import check_that_serves
from host.readings_of_now import readings_of_now
from host.tables.rounds import round_table
from host.tables.table import Form, written
from host.web.curve_list import every_curve
from host.web.desk_behind import the_desk
from host.web.kind_result_view import StripView, TableView, kind_result_view_of, strip_views, table_views
from host.web.number_in_form import number_of
from host.web.operator import operator_of
from host.web.paper_of_run import paper_of_run
from host.web.reason_typed import reason_typed, why_stopped
from host.web.round_form import (
    QUANTITY_WORDS,
    REFERENCE_WORDS,
    RESULT_FIELDS,
    ResultForm,
    RoundForm,
    artefacts,
    empty_form,
    filled_form,
    filled_result,
)
from host.web.rules import allowed
from host.web.seen import seen
from host.web.shop_day import shop_day

rounds_pages = Blueprint("rounds", __name__)

_NEWEST_PACKS = 120
#: Beyond this factor another part is clipped in, or none.
_MOST_FROM_NOMINAL = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundSoFar:
    """What the results that count say already."""

    sentence: str
    tables: tuple[TableView, ...]
    strips: tuple[StripView, ...]
    why_no_robust: str
    robust: str


@rounds_pages.get("/rounds")
@allowed(*STAFF)
def index() -> str:
    """Every round, and the form that begins one; ``artefact=SERIAL`` fills it in for one of the register."""
    return _index(empty_form(the_desk().store, serial=request.args.get("artefact", "")))


@rounds_pages.post("/rounds")
@allowed(*STAFF)
def start() -> AnyResponse | tuple[str, int]:
    """Begin a round, or say beside the field why not."""
    form = filled_form(
        request.form,
        request.form.getlist("stations"),
        store=the_desk().store,
        shop=g.settings,
        scale=g.scale,
        today=shop_day(),
    )
    if form.settings is None:
        return _index(form), 422
    settings = replace(form.settings, operator=operator_of(form.settings.operator))
    return redirect(f"/rounds/{_rounds().start(settings)}", 303)


@rounds_pages.get("/rounds/<int:run>")
@allowed(*STAFF)
def one(run: int) -> str:
    """Stations under each other and what is missing, or what came of it."""
    view, paper = _view(run), paper_of_run(the_desk().store, run)
    if paper is None or not view.state.has_paper:
        return _page(view)
    return render_template(
        "round_result.html",
        view=view,
        paper_of_run=paper,
        result=kind_result_view_of(paper.files, g.scale),
        next_action=_next_action(view.state),
    )


@rounds_pages.post("/rounds/<int:run>/take")
@allowed(*STAFF)
def take(run: int) -> AnyResponse | tuple[str, int]:
    """Keep a result that was typed by hand."""
    view = _view(run)
    form = filled_result(request.form, view.state.started.quantity, g.scale)
    if form.stated is None:
        return _page(view, form), 422
    by = operator_of("")
    words = f"typed by hand{f' by {by}' if by else ''}"
    result = NewResult(
        station=form.typed["station"],
        stated=form.stated,
        source=Source.TYPED,
        words=f"{words}; {form.typed['words']}" if form.typed["words"] else words,
    )
    try:
        _rounds().take(run, result, zone=g.settings.zone, after=seen())
    except DeskError as error:
        return _page(_view(run), replace(form, errors={"form": str(error)})), 422
    return redirect(f"/rounds/{run}", 303)


@rounds_pages.post("/rounds/<int:run>/take-run")
@allowed(*STAFF)
def take_run(run: int) -> AnyResponse | tuple[str, int]:
    """Take the result of a finished check."""
    view = _view(run)
    chosen = request.form.get("run", type=number_of)
    found = next((check for check in _checks(view.state) if check.run == chosen), None)
    if found is None:
        return _refused(run, "Choose a finished check from the list; it may have been withdrawn meanwhile.")
    result = NewResult(
        station=found.station,
        stated=found.stated,
        source=Source.RUN,
        words=found.words,
        run=found.run,
        is_simulated=found.is_simulated,
    )
    return _taken(run, lambda: result)


@rounds_pages.post("/rounds/<int:run>/read")
@allowed(*STAFF)
def read(run: int) -> AnyResponse | tuple[str, int]:
    """Have the rig of a station read the resistor now, or those of all stations that are missing."""
    view, station = _view(run), request.form.get("station", "")
    known = (*_desk_stations(), "")
    if view.state.started.quantity is not Quantity.RESISTANCE or station not in known:
        return _refused(run, "Choose a station of this desk, and clip the resistor in there.")
    at_ohm = view.state.started.at
    if station:
        return _taken(run, lambda: _reading(station, at_ohm))
    troubles, missing_rigs = [], _missing_rigs(view.state)
    if not missing_rigs:
        return _refused(run, "No station of this desk is missing: nothing was read.")
    for missing in missing_rigs:
        try:
            _rounds().take(run, _reading(missing, at_ohm), zone=g.settings.zone)
        except DeskError as error:
            troubles.append(str(error))
    return _refused(run, " ".join(troubles)) if troubles else redirect(f"/rounds/{run}", 303)


@rounds_pages.post("/rounds/<int:run>/clip-in")
@allowed(*STAFF)
def clip_in(run: int) -> AnyResponse | tuple[str, int]:
    """Let the simulated hands clip the resistor in at every simulated station of the round."""
    view, helper = _view(run), the_desk().hands
    stations = _simulated_stations(view.state)
    if helper is None or not stations or view.state.is_over:
        return _refused(run, "There are no simulated stations in this round: clip it in by hand.")
    at_work = {one.station: one.number for one in the_desk().store.runs.open()}
    for station in stations:
        if station not in at_work:
            helper.clip_in(station)
    busy = [f"{one} is at run {at_work[one]:04d}" for one in stations if one in at_work]
    if busy:
        return _refused(run, f"{', '.join(busy)}: finish or stop that first, then clip it in there.")
    return redirect(f"/rounds/{run}", 303)


@rounds_pages.post("/rounds/<int:run>/answer")
@allowed(*STAFF)
def answer(run: int) -> AnyResponse | tuple[str, int]:
    """Say whether a result counts, and why."""
    _view(run)
    counts = request.form.get("counts") == "yes"
    entry = request.form.get("entry", type=number_of) or 0

    def deed() -> None:
        reason = reason_typed(empty="Write why it counts or does not: it stands on the paper.")
        _rounds().answer(run, entry=entry, counts=counts, reason=reason, after=seen())

    return _done(run, deed)


@rounds_pages.post("/rounds/<int:run>/leave-out")
@allowed(*STAFF)
def leave_out(run: int) -> AnyResponse | tuple[str, int]:
    """Leave a station out, with a reason."""
    _view(run)
    station = request.form.get("station", "")

    def deed() -> None:
        reason = reason_typed(empty="Write why that station is left out: it stands on the paper.")
        _rounds().leave_out(run, station=station, reason=reason, after=seen())

    return _done(run, deed)


@rounds_pages.post("/rounds/<int:run>/take-back")
@allowed(*STAFF)
def take_back(run: int) -> AnyResponse | tuple[str, int]:
    """Have a station in again that was left out."""
    _view(run)
    station = request.form.get("station", "")
    return _done(run, lambda: _rounds().take_back(run, station=station, after=seen()))


@rounds_pages.post("/rounds/<int:run>/close")
@allowed(*STAFF)
def close(run: int) -> AnyResponse | tuple[str, int]:
    """Compare what counts, and issue the certificate or keep its draft."""
    _view(run)
    shop, zone = g.settings.shop, g.settings.zone
    return _done(run, lambda: _rounds().close(run, shop=shop, zone=zone, after=seen()))


@rounds_pages.post("/rounds/<int:run>/stop")
@allowed(*STAFF)
def stop(run: int) -> AnyResponse | tuple[str, int]:
    """Stop it for good."""
    _view(run)
    return _done(run, lambda: _rounds().stop(run, why_stopped(), after=seen()))


@rounds_pages.get("/rounds/<int:run>/results.<any(csv, json):form>")
@allowed(*STAFF)
def results(run: int, form: str) -> Response:
    """Every result of a round, for other programs."""
    state = _view(run).state
    return Response(
        written(round_table(run, state), Form(form)),
        mimetype=Form(form).mimetype,
        headers={"Content-Disposition": f'attachment; filename="round-{run:04d}.{form}"'},
    )


def _rounds() -> StationRounds:
    return StationRounds(the_desk().store)


def _view(run: int) -> StationRoundView:
    try:
        return _rounds().view(run)
    except DeskError as error:
        abort(404, description=str(error))


def _desk_stations() -> tuple[str, ...]:
    return tuple(one.station for one in the_desk().store.stations.all())


def _missing_rigs(state: StationRoundState) -> tuple[str, ...]:
    """Stations of this desk that a round still waits for."""
    of_desk = _desk_stations()
    return tuple(one for one in state.missing if one in of_desk)


def _checks(state: StationRoundState) -> list[CheckedError]:
    """Finished checks that this round may take, those of the artefact first."""
    settings = state.started
    if settings.quantity is not Quantity.ERROR or state.is_over:
        return []
    had = {settings.reference_run, *(entry.run for entry in state.entries)}
    found = finished_checks(the_desk().store, curve=settings.curve, at_c=settings.at)
    return sorted(
        (check for check in found if check.run not in had),
        key=lambda check: not is_of(check, settings.artefact),
    )


def _simulated_stations(state: StationRoundState) -> tuple[str, ...]:
    """Stations of a round of a resistor that are simulated and heard."""
    if state.started.quantity is not Quantity.RESISTANCE:
        return ()
    latest = {one: the_desk().live.latest(one) for one in _desk_stations() if one in state.stations}
    return tuple(one for one, pack in latest.items() if pack is not None and pack.simulated)


def _clip_words(state: StationRoundState) -> dict[str, str]:
    """Where the resistor of each simulated station is, of those that were asked for."""
    helper = the_desk().hands
    if helper is None:
        return {}
    said = {one: helper.clip_words(one) for one in _simulated_stations(state)}
    return {station: words for station, words in said.items() if words}


def _reading(station: str, at_ohm: float) -> NewResult:
    desk = the_desk()
    check = check_that_serves(station, store=desk.store, live=desk.live)
    box = {} if check is None else _box_of(station)
    packs = readings_of_now(desk.store, desk.live, station, _NEWEST_PACKS)
    found = read_resistor(
        packs if desk.hands is None else desk.hands.of_the_resistor(packs),
        check=check,
        decade_box=box,
        readings_of=desk.store.readings_of,
    )
    if not at_ohm / _MOST_FROM_NOMINAL < found.stated.value < at_ohm * _MOST_FROM_NOMINAL:
        raise DeskError(
            f"{station} reads {found.stated.value:.4g} Ω, and the round is at {at_ohm:g} Ω: clip the "
            "resistor in where the sender goes, wait, then read again. If it is, type what it reads."
        )
    return NewResult(
        station=station,
        stated=found.stated,
        source=Source.READ,
        words=found.words,
        cites=found.cites,
        rests_on={} if check is None else {"check": check.as_json(), "decade_box": box},
        is_simulated=found.is_simulated,
    )


def _box_of(station: str) -> dict[str, object]:
    store = the_desk().store
    months = g.settings.recalibration_months
    box = store.register.usable("decade_box", today=shop_day(), months_by_kind=months, station=station)
    return dict(box.content)


def _taken(run: int, result_of: Callable[[], NewResult]) -> AnyResponse | tuple[str, int]:
    return _done(run, lambda: _rounds().take(run, result_of(), zone=g.settings.zone, after=seen()))


def _done(run: int, deed: Callable[[], None]) -> AnyResponse | tuple[str, int]:
    """The page of a round after a deed, or as it stands now, with words why it was not done."""
    try:
        deed()
    except DeskError as error:
        return _refused(run, str(error))
    return redirect(f"/rounds/{run}", 303)


def _refused(run: int, words: str) -> tuple[str, int]:
    return _page(_view(run), ResultForm(typed=_empty_result(), errors={"form": words})), 422


def _empty_result() -> dict[str, str]:
    return dict.fromkeys(RESULT_FIELDS, "") | {"k": "2"}


def _so_far(state: StationRoundState) -> RoundSoFar | None:
    body = body_of(state)
    if body is None:
        return None
    results, comparison = station_round_results(body), body.points[0]
    (robust,) = [section for section in results.sections if section.title == "Robust mean"]
    return RoundSoFar(
        sentence=sentence_of(comparison),
        tables=table_views(results),
        strips=strip_views(results, g.scale),
        why_no_robust=comparison.why_no_robust,
        robust="" if comparison.robust_mean is None else robust.lines[0],
    )


def _next_action(state: StationRoundState) -> str:
    body = body_of(state)
    return "" if body is None else next_action_of(body.points[0], state.started.quantity)


def _index(form: RoundForm) -> str:
    store = the_desk().store
    return render_template(
        "rounds.html",
        form=form,
        quantities={quantity.value: words for quantity, words in QUANTITY_WORDS.items()},
        reference_ways=REFERENCE_WORDS,
        artefacts=artefacts(store),
        curves=every_curve(store),
        stations=_desk_stations(),
        rounds=_rounds().all(),
    )


def _page(view: StationRoundView, form: ResultForm | None = None) -> str:
    state = view.state
    checks = _checks(state)
    return render_template(
        "round.html",
        view=view,
        form=form or ResultForm(typed=_empty_result()),
        so_far=_so_far(state),
        checks=checks,
        of_it={check.run for check in checks if is_of(check, state.started.artefact)},
        rigs=_desk_stations() if state.started.quantity is Quantity.RESISTANCE else (),
        missing_rigs=_missing_rigs(state),
        window_s=WINDOW_S,
        simulated=() if state.is_over else _simulated_stations(state),
        clip_words=_clip_words(state),
    )
