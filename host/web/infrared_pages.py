"""Pages of the infrared check: start it, one step at a time, what came of it."""

from dataclasses import replace
from typing import Any

from flask import Blueprint, Response, abort, g, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from calibration.contract.readings import ReadingPack
from calibration.errors import CalibrationError
from calibration.infrared.outlying_shot import TEST_WORDS
from host.contact_reference import ContactReference, Press, read_by_hand, read_by_probe
from host.errors import DeskError
from host.infrared_register import corrections_entry, whose
from host.people.role import ALL_ROLES, STAFF
from host.procedures.infrared.adjusted_since import words_of_later_adjustment
from host.procedures.infrared.infrared_advice import words_where_not_decided
from host.procedures.infrared.infrared_check import MOST_SHOTS, InfraredState, Kind
from host.procedures.infrared.infrared_result import point_so_far, sentence_of
from host.procedures.infrared.infrared_runs import InfraredRuns, InfraredView
from host.procedures.infrared.infrared_settings import TARGETS, InfraredSettings
from host.procedures.infrared.place_of_shot import accept_place, question_of_place
from host.procedures.run_kind import RunKind
from host.readings_of_now import readings_of_now
from host.rig_sensor import read_rig_sensor
from host.store.settings import RULES
from host.web.desk_behind import Hands, the_desk
from host.web.hands_at_bath import hands_at_bath, refuse_hands_at_a_run
from host.web.in_place_form import surfaces
from host.web.infrared_form import (
    TARGET_WORDS,
    InfraredForm,
    NamedChoice,
    empty_form,
    filled_form,
    reference_choices,
    temperature_typed,
    thermometer_choices,
)
from host.web.kind_result_view import kind_result_view_of
from host.web.live_stream import stream_of
from host.web.number_in_form import number_of
from host.web.operator import operator_of
from host.web.own_runs import is_theirs, refuse_others
from host.web.paper_of_run import paper_of_run
from host.web.reason_typed import reason_typed, why_stopped
from host.web.rules import allowed
from host.web.run_list import run_rows
from host.web.seen import seen
from host.web.shop_day import shop_day
from host.web.target_now import NEWEST_PACKS, is_shooting, presses_waiting, target_events, target_now

infrared_pages = Blueprint("infrared", __name__)

_NEWEST = 10


@infrared_pages.get("/infrared")
@allowed(*ALL_ROLES)
def index() -> str:
    """What it is, the form that begins one, and the newest checks."""
    first = request.args.get("as_left_of", type=number_of)
    if first is None:
        return _index(empty_form(g.settings, g.scale))
    form = empty_form(g.settings, g.scale, _view(first).state.started)
    return _index(replace(form, typed={**form.typed, "as_left_of": str(first)}))


@infrared_pages.post("/infrared")
@allowed(*ALL_ROLES)
def start() -> AnyResponse | tuple[str, int]:
    """Begin a check, or say beside the field why not."""
    form = filled_form(request.form, store=the_desk().store, shop=g.settings, scale=g.scale, today=shop_day())
    if form.settings is None:
        return _index(form), 422
    settings = replace(form.settings, operator=operator_of(form.settings.operator))
    if settings.as_left_of is not None:
        _view(settings.as_left_of)
    try:
        return redirect(f"/infrared/{_runs().start(settings)}", 303)
    except DeskError as error:
        return _index(replace(form, errors={"form": str(error)})), 422


@infrared_pages.get("/infrared/<int:run>")
@allowed(*ALL_ROLES)
def check(run: int) -> str:
    """The next step, or what came of it."""
    view, paper = _view(run), paper_of_run(the_desk().store, run)
    if paper is None:
        return _page(view, InfraredForm(typed={}))
    return render_template(
        "infrared_result.html",
        view=view,
        paper_of_run=paper,
        result=kind_result_view_of(paper.files, g.scale),
        as_left=_runs().as_left_of(run),
        adjusted=words_of_later_adjustment(the_desk().store, run),
        not_decided=words_where_not_decided(view.state.started),
        used=_use_of_corrections(view.state.started),
        in_register=paper.issued is not None and _is_in_register(view.state.started, paper.issued.number),
    )


@infrared_pages.get("/infrared/<int:run>/live")
@allowed(*ALL_ROLES)
def check_live(run: int) -> Response:
    """The target as it moves, and presses of the bench button as they come."""
    state = _view(run).state
    last_id = request.headers.get("Last-Event-ID", request.args.get("after", ""))
    return stream_of(target_events(the_desk(), run, state, scale=g.scale, last_id=last_id))


@infrared_pages.post("/infrared/<int:run>/next")
@allowed(*ALL_ROLES)
def go_on(run: int) -> AnyResponse | tuple[str, int]:
    """The one button: a step of setting up is done, a set point is finished, or all is to be judged."""
    view = _view(run)
    if view.card is None or request.form.get("step") != str(view.card.step):
        return redirect(f"/infrared/{run}", 303)  # pressed twice, or late
    state, runs = view.state, _runs()
    step = state.next_set_up
    if step is not None:
        runs.add(run, Kind.SET_UP_DONE, {"step": step.value}, after=view.logged)
    elif state.may_close:
        runs.add(run, Kind.POINT_CLOSED, {}, after=view.logged)
    elif state.point_c is None:
        runs.conclude(run, shop=g.settings.shop, zone=g.settings.zone)
    return redirect(f"/infrared/{run}", 303)


@infrared_pages.post("/infrared/<int:run>/shot")
@allowed(*ALL_ROLES)
def shot(run: int) -> AnyResponse | tuple[str, int]:
    """Take a shot: what was shown, and what the reference said at that moment."""
    view = _view(run)
    errors: dict[str, str] = {}
    if "forget" in request.form:
        press = _stamp(view.state, errors)
        if press is not None:
            _forget(run, press)
        return redirect(f"/infrared/{run}", 303)
    payload = _shot_payload(view.state, errors)
    if errors or payload is None:
        return _page(view, InfraredForm(typed=request.form, errors=errors)), 422
    _runs().add(run, Kind.SHOT, payload, after=seen())
    return redirect(f"/infrared/{run}", 303)


@infrared_pages.post("/infrared/<int:run>/answer")
@allowed(*ALL_ROLES)
def answer(run: int) -> AnyResponse | tuple[str, int]:
    """Say whether a shot counts, and why."""
    view = _view(run)
    number = request.form.get("shot", type=number_of)
    try:
        reason = reason_typed(empty="Write what you found: “steam in the way”, “looked again, it is so”.")
    except DeskError as error:
        return _page(view, InfraredForm(typed=request.form, errors={"reason": str(error)})), 422
    counts = request.form.get("counts") == "yes"
    _runs().add(run, Kind.ANSWERED, {"shot": number or 0, "counts": counts, "reason": reason}, after=seen())
    return redirect(f"/infrared/{run}", 303)


@infrared_pages.post("/infrared/<int:run>/stop")
@allowed(*ALL_ROLES)
def stop(run: int) -> AnyResponse:
    """Stop it for good."""
    _view(run)
    _runs().stop(run, why_stopped())
    return redirect(f"/infrared/{run}", 303)


@infrared_pages.post("/infrared/<int:run>/register")
@allowed(*STAFF)
def register(run: int) -> AnyResponse:
    """Put the corrections of a finished check into the register."""
    view, store = _view(run), the_desk().store
    paper = paper_of_run(store, run)
    holds = paper is not None and paper.standing is not None and paper.standing.is_in_force
    if paper is None or paper.issued is None or not holds:
        raise DeskError(
            "Only an issued certificate in force of a thermometer has corrections for the register."
        )
    adjusted = words_of_later_adjustment(store, run)
    if adjusted:
        raise DeskError(adjusted)
    kind, serial = whose(view.state.started)
    kept_at = store.register.kept_at(kind.value, serial)
    entry = corrections_entry(view.state.started, paper.issued, shop=g.settings.shop, kept_at=kept_at)
    store.register.add(entry)
    return redirect(f"/infrared/{run}", 303)


@infrared_pages.post("/infrared/<int:run>/hands")
@allowed(*ALL_ROLES)
def hands(run: int) -> AnyResponse | tuple[str, int]:
    """Let the simulated hands heat the target, or shoot."""
    view, helper = _view(run), the_desk().hands
    started, point_c = view.state.started, view.state.point_c
    if helper is None or not started.station or point_c is None:
        raise DeskError("There are no simulated hands here: this target needs real ones.")
    errors: dict[str, str] = {}
    try:
        _by_hands(view, helper, point_c, errors)
    except (DeskError, CalibrationError) as error:
        errors["form"] = str(error)
    if errors:
        return _page(view, InfraredForm(typed=request.form, errors=errors)), 422
    return redirect(f"/infrared/{run}", 303)


def _by_hands(view: InfraredView, helper: Hands, point_c: float, errors: dict[str, str]) -> None:
    """Heat or shoot, as was pressed; errors where a person is asked, or has to wait."""
    state, started = view.state, view.state.started
    refuse_hands_at_a_run(the_desk(), started.station)
    if request.form.get("do") == "heat":
        helper.heat(started.station, point_c)
    elif started.is_rig_sensor:
        raise DeskError("The sensor of a station reads its target itself: no hand shoots it.")
    else:
        _accept_another(state)
        reference = read_by_probe(_packs_of_now(state), started.reference, taking=started.taking)
        meant = _place(state, reference, errors)
        if not errors:
            shown_c = helper.shoot(started, reference.temperature_c, shot=len(state.shots) + 1)
            payload = _payload(shown_c, f"{shown_c:g}C", reference) | {"meant_there": meant}
            _runs().add(view.run, Kind.SHOT, payload, after=seen())


def _runs() -> InfraredRuns:
    return InfraredRuns(the_desk().store)


def _view(run: int) -> InfraredView:
    try:
        view = _runs().view(run)
    except DeskError as error:
        abort(404, description=str(error))
    refuse_others(view.state.started.operator, run)
    return view


def _packs(state: InfraredState) -> list[ReadingPack]:
    return the_desk().store.packs.recent(state.started.station, NEWEST_PACKS)


def _packs_of_now(state: InfraredState) -> list[ReadingPack]:
    desk = the_desk()
    return readings_of_now(desk.store, desk.live, state.started.station, NEWEST_PACKS)


def _shot_payload(state: InfraredState, errors: dict[str, str]) -> dict[str, Any] | None:
    started = state.started
    typed = request.form.get("shown", "").strip()
    body_c: float | None = None
    press = _stamp(state, errors)
    if errors:
        return None
    try:
        _accept_another(state)
        if started.is_rig_sensor:
            sensor = read_rig_sensor(
                _packs_of_now(state), station=started.station, set_emissivity=started.set_emissivity
            )
            shown_c, body_c, typed = sensor.shown_c, sensor.body_c, "read by the bench"
        else:
            shown_c = temperature_typed(typed, g.scale, "shown", errors)
        reference = _reference(state, press, errors)
    except DeskError as error:
        errors["form"] = str(error)
        return None
    if errors or reference is None:
        return None
    meant = _place(state, reference, errors)
    if errors:
        return None
    return _payload(shown_c, typed, reference, press) | {"body_c": body_c, "meant_there": meant}


def _accept_another(state: InfraredState) -> None:
    if len(state.shots_at(state.closed)) >= MOST_SHOTS:
        raise DeskError(f"{MOST_SHOTS} shots are enough here: go on to the next.")


def _place(state: InfraredState, reference: ContactReference, errors: dict[str, str]) -> bool:
    """Whether a person says that the target is meant to be elsewhere; errors where it is asked or refused."""
    question = question_of_place(state, reference.temperature_c)
    meant = request.form.get("meant_there") == "yes"
    try:
        accept_place(state, reference.temperature_c)
    except CalibrationError as error:
        errors["form"] = str(error)
        return False
    if question and not meant:
        errors["meant_there"] = question
    return bool(question) and meant


def _reference(state: InfraredState, press: Press | None, errors: dict[str, str]) -> ContactReference | None:
    started = state.started
    if started.station:
        if press is None:
            return read_by_probe(_packs_of_now(state), started.reference, taking=started.taking)
        # The button stamped its moment: what the probe said then counts, whether the rig speaks now or not.
        return read_by_probe(_packs(state), started.reference, at_s=press.rig_time_s, taking=started.taking)
    text = request.form.get("reference", "").strip()
    shown_c = temperature_typed(text, g.scale, "reference", errors)
    return None if errors else read_by_hand(shown_c, started.reference)


def _payload(
    shown_c: float, typed: str, reference: ContactReference, press: Press | None = None
) -> dict[str, Any]:
    return {
        "shown_c": shown_c,
        "typed": typed,
        "reference_c": reference.temperature_c,
        "u_reference_k": reference.u_k,
        "reference_words": reference.words,
        "cites": None if reference.cites is None else reference.cites.as_json(),
        "stamped": None if press is None else list(press.key),
    }


def _stamp(state: InfraredState, errors: dict[str, str]) -> Press | None:
    """The press that a shot belongs to, None where it was not stamped."""
    sent = request.form.get("stamp", "")
    if not sent:
        return None
    for press in presses_waiting(the_desk(), state):
        if sent == f"{press.boot}/{press.seq}/{press.rig_time_s}":
            return press
    errors["form"] = "That press is too long ago, or was typed already. Shoot again."
    return None


def _forget(run: int, press: Press) -> None:
    _runs().add(run, Kind.PRESS_FORGOTTEN, {"stamped": list(press.key)}, after=seen())


def _use_of_corrections(settings: InfraredSettings) -> str:
    """What is corrected by them once they are in the register."""
    _, serial = whose(settings)
    if settings.is_rig_sensor:
        return f"what the infrared sensor of {serial} says"
    return f"a spot on the vehicle that is read with {serial}"


def _is_in_register(settings: InfraredSettings, certificate: str) -> bool:
    known = whose(settings)
    return any(
        (one.kind, one.serial) == known and one.certificate == certificate
        for one in the_desk().store.register.all()
    )


def _index(form: InfraredForm) -> str:
    store, today = the_desk().store, shop_day()
    entered = ("serial", "resolution_k", "accuracy_k", "emissivity", "distance_to_spot", "band_from_um")
    return render_template(
        "infrared_start.html",
        form=form,
        thermometers=thermometer_choices(store, g.settings, today),
        references=reference_choices(store, g.settings, today),
        targets=[NamedChoice(value=name, words=TARGET_WORDS[name]) for name in TARGETS],
        surfaces=[
            NamedChoice(value=row.name, words=f"{row.name} ({row.emissivity:.2f})") for row in surfaces()
        ],
        rules=RULES,
        entered_wrong=any(name in form.errors for name in entered),
        newest=run_rows(
            the_desk().store, g.settings.zone, kind=RunKind.INFRARED_CHECK, newest=_NEWEST, is_shown=is_theirs
        ),
    )


def _page(view: InfraredView, form: InfraredForm) -> str:
    state = view.state
    shooting = is_shooting(state)
    presses = presses_waiting(the_desk(), state) if shooting else ()
    station = state.started.station
    helper = hands_at_bath(the_desk(), station, simulated=state.started.simulated)
    return render_template(
        "infrared.html",
        view=view,
        form=form,
        is_shooting=shooting,
        press=presses[0] if presses else None,
        presses=len(presses),
        target=target_now(the_desk(), state) if shooting else None,
        so_far=_so_far(state) if shooting else "",
        spot=state.started.accept_spot(),
        test_words=TEST_WORDS,
        hands=helper is not None,
        hands_did="" if helper is None else helper.heating_words(station, state.point_c),
    )


def _so_far(state: InfraredState) -> str:
    """The open set point in a sentence, or why nothing can be said of it; empty before it has shots."""
    try:
        point = point_so_far(state)
    except CalibrationError as error:
        return f"Nothing can be judged so: {_uncapitalised(str(error))}"
    return "" if point is None else "So far: " + _uncapitalised(sentence_of([point]))


def _uncapitalised(words: str) -> str:
    return words[:1].lower() + words[1:]
