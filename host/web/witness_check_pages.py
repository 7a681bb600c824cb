"""Pages of the witness check: start it, read it at three temperatures, put it into the register."""

from collections.abc import Mapping

from flask import Blueprint, Response, abort, g, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from calibration.bath.fixed_points import FixedPoint, boiling_at_pressure, ice_point
from host.errors import DeskError
from host.people.role import STAFF
from host.procedures.references.witness_check import RESOLUTION_K, WitnessState
from host.procedures.references.witness_check_runs import WitnessChecks
from host.procedures.station_instruments import is_simulated_station
from host.quantity import pressure_pa_of
from host.store.instrument_kind import InstrumentKind
from host.store.register_entry import Instrument
from host.web.desk_behind import Hands, the_desk
from host.web.hands_at_bath import hands_at_bath, refuse_hands_at_a_run
from host.web.infrared_form import temperature_typed
from host.web.live_stream import stream_of
from host.web.reason_typed import STOPPED_BY_HAND
from host.web.rules import allowed
from host.web.shop_day import shop_day
from host.web.target_now import bath_events, bath_now
from host.web.text_field import take_text

witness_check_pages = Blueprint("witness_check", __name__)

_LONGEST_SERIAL = 60
#: The choice of a station where there is none: both are read by hand.
BY_HAND = "by hand"
#: The choice of a reference where ice and boiling water are all there is.
FIXED_POINTS = "ice and boiling water"
_FIELDS = ("station", "serial", "reference", "resolution_k")


@witness_check_pages.get("/witness-check")
@allowed(*STAFF)
def index() -> str:
    """What it takes, the form, and every check so far."""
    return _index(dict.fromkeys(_FIELDS, "") | {"resolution_k": "0.1"}, {})


@witness_check_pages.post("/witness-check")
@allowed(*STAFF)
def start() -> AnyResponse | tuple[str, int]:
    """Begin a check, or say beside the field why not."""
    store = the_desk().store
    typed = {name: request.form.get(name, "").strip() for name in _FIELDS}
    errors: dict[str, str] = {}
    take_text(typed, "serial", "its serial", errors, longest=_LONGEST_SERIAL)
    if typed["station"] not in {BY_HAND, *(one.station for one in store.stations.all())}:
        errors["station"] = "Choose the station that it hangs at."
    if not typed["serial"]:
        errors["serial"] = "Write its serial, or the name it goes by."
    by_hand = typed["station"] == BY_HAND
    reference, resolution_k = _by_hand(typed, errors) if by_hand else (None, RESOLUTION_K)
    if errors:
        return _index(typed, errors), 422
    if by_hand:
        run = WitnessChecks(store).start(
            station="",
            serial=typed["serial"],
            probe={} if reference is None else reference.content,
            simulated=reference is not None and reference.simulated,
            resolution_k=resolution_k,
        )
        return redirect(f"/witness-check/{run}", 303)
    try:
        probe = store.register.usable(
            "probe",
            today=shop_day(),
            months_by_kind=g.settings.recalibration_months,
            station=typed["station"],
        )
    except DeskError as error:
        return _index(typed, {"form": str(error)}), 422
    run = WitnessChecks(store).start(
        station=typed["station"],
        serial=typed["serial"],
        probe=probe.content,
        simulated=probe.simulated or is_simulated_station(store, typed["station"]),
    )
    return redirect(f"/witness-check/{run}", 303)


@witness_check_pages.get("/witness-check/<int:run>")
@allowed(*STAFF)
def check(run: int) -> str:
    """The next step, and what was read."""
    return _page(run, "")


def _by_hand(typed: dict[str, str], errors: dict[str, str]) -> tuple[Instrument | None, float]:
    """The contact thermometer that is the reference, and the last digit of the one that is checked. [K]"""
    try:
        resolution_k = float(typed["resolution_k"])
    except ValueError:
        resolution_k = float("nan")
    if not 0.001 <= resolution_k <= 5.0:
        errors["resolution_k"] = "Write a number from 0.001 to 5."
    if typed["reference"] == FIXED_POINTS:
        return None, resolution_k
    for value, _words, refusal in _references():
        if value == typed["reference"]:
            if refusal:
                errors["reference"] = refusal
            elif value == typed["serial"]:
                errors["reference"] = "A thermometer is no reference of itself: choose another."
            standing = the_desk().store.register.standing(InstrumentKind.WITNESS, value)
            return (standing.in_force if standing is not None else None), resolution_k
    errors["reference"] = "Choose the contact thermometer that it is held beside."
    return None, resolution_k


def _boiling(errors: dict[str, str]) -> FixedPoint | None:
    """Where water boils at the pressure that was typed."""
    try:
        return boiling_at_pressure(pressure_pa_of(request.form.get("pressure", "").strip()) / 1000.0)
    except DeskError as error:
        errors["pressure"] = str(error)
        return None


def _references() -> list[tuple[str, str, str]]:
    """Serial of each contact thermometer of the register, what it is, and why it may not be used."""
    today = shop_day()
    return [
        (
            one.serial,
            f"{one.serial}, certificate {one.in_force.certificate}",
            one.refusal(today, g.settings.recalibration_months) or "",
        )
        for one in the_desk().store.register.standings()
        if one.kind is InstrumentKind.WITNESS and not one.is_retired
    ]


@witness_check_pages.post("/witness-check/<int:run>/read")
@allowed(*STAFF)
def read(run: int) -> AnyResponse | tuple[str, int]:
    """Read both now, or put what was read into the register, or stop."""
    checks = WitnessChecks(the_desk().store)
    errors: dict[str, str]
    try:
        match request.form.get("do"):
            case "finish":
                checks.finish(run, shop=g.settings.shop, today=shop_day())
            case "stop":
                checks.stop(run, STOPPED_BY_HAND)
            case "keep":
                checks.keep(run)
            case "ice" | "boiling" as where:
                errors = {}
                shown_c = temperature_typed(request.form.get("shown", "").strip(), g.scale, "shown", errors)
                fixed = ice_point() if where == "ice" else _boiling(errors)
                if errors or fixed is None:
                    return _page(run, "", errors), 422
                checks.read_in(run, fixed, shown_c=shown_c)
            case "typed":
                errors = {}
                both = [
                    temperature_typed(request.form.get(name, "").strip(), g.scale, name, errors)
                    for name in ("reference", "shown")
                ]
                if errors:
                    return _page(run, "", errors), 422
                checks.read_typed(run, reference_shown_c=both[0], shown_c=both[1])
            case _:
                checks.read(run, live=the_desk().live)
    except DeskError as error:
        return _page(run, str(error)), 422
    return redirect(f"/witness-check/{run}", 303)


@witness_check_pages.get("/witness-check/<int:run>/live")
@allowed(*STAFF)
def check_live(run: int) -> Response:
    """The bath as it moves."""
    return stream_of(bath_events(the_desk(), run, _state(run), scale=g.scale))


@witness_check_pages.post("/witness-check/<int:run>/hands")
@allowed(*STAFF)
def hands(run: int) -> AnyResponse | tuple[str, int]:
    """Let the simulated hands bring the bath to the next temperature."""
    state, helper = _state(run), _hands_at(_state(run))
    if helper is None or state.proposed_c is None:
        raise DeskError("There are no simulated hands here: this bath needs real ones.")
    try:
        refuse_hands_at_a_run(the_desk(), state.station)
        helper.heat(state.station, state.proposed_c)
    except DeskError as error:
        return _page(run, str(error)), 422
    return redirect(f"/witness-check/{run}", 303)


def _hands_at(state: WitnessState) -> Hands | None:
    """Hands that may touch the bath of a check; None where it is real, or the check is over."""
    return None if state.is_over else hands_at_bath(the_desk(), state.station, simulated=state.simulated)


def _index(typed: dict[str, str], errors: dict[str, str]) -> str:
    store = the_desk().store
    return render_template(
        "witness_check_start.html",
        form={"typed": typed, "errors": errors},
        stations=[one.station for one in store.stations.all()],
        rows=WitnessChecks(store).history(),
        by_hand=BY_HAND,
        fixed_points=FIXED_POINTS,
        references=_references(),
    )


def _page(run: int, trouble: str, errors: Mapping[str, str] | None = None) -> str:
    state = _state(run)
    helper = _hands_at(state)
    typed = request.form if trouble or errors else {}
    form = {"typed": typed, "errors": errors or {}}
    return render_template(
        "witness_check.html",
        run=run,
        state=state,
        trouble=trouble,
        form=form,
        target=bath_now(the_desk(), state),
        hands=helper is not None,
        hands_did="" if helper is None else helper.heating_words(state.station, state.proposed_c),
    )


def _state(run: int) -> WitnessState:
    try:
        return WitnessChecks(the_desk().store).state(run)
    except DeskError as error:
        abort(404, description=str(error))
