"""Pages of the witness check: start it, read it at three temperatures, put it into the register."""

from flask import Blueprint, abort, g, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from host.errors import DeskError
from host.local_time import local_day
from host.people.role import STAFF
from host.procedures.references.witness_check import WitnessChecks
from host.web.desk_behind import the_desk
from host.web.rules import allowed
from host.web.text_field import take_text

witness_check_pages = Blueprint("witness_check", __name__)

_LONGEST_SERIAL = 60


@witness_check_pages.get("/witness-check")
@allowed(*STAFF)
def index() -> str:
    """What it takes, the form, and every check so far."""
    return _index({"station": "", "serial": ""}, {})


@witness_check_pages.post("/witness-check")
@allowed(*STAFF)
def start() -> AnyResponse | tuple[str, int]:
    """Begin a check, or say beside the field why not."""
    store = the_desk().store
    typed = {name: request.form.get(name, "").strip() for name in ("station", "serial")}
    errors: dict[str, str] = {}
    take_text(typed, "serial", "its serial", errors, longest=_LONGEST_SERIAL)
    if typed["station"] not in {one.station for one in store.stations.all()}:
        errors["station"] = "Choose the station that it hangs at."
    if not typed["serial"]:
        errors["serial"] = "Write its serial, or the name it goes by."
    if errors:
        return _index(typed, errors), 422
    today = local_day(store.now(), g.settings.zone)
    try:
        probe = store.register.usable(
            "probe",
            today=today,
            months_by_kind=g.settings.recalibration_months,
            station=typed["station"],
        )
    except DeskError as error:
        return _index(typed, {"form": str(error)}), 422
    run = WitnessChecks(store).start(**typed, probe=probe.content, simulated=probe.simulated)
    return redirect(f"/witness-check/{run}", 303)


@witness_check_pages.get("/witness-check/<int:run>")
@allowed(*STAFF)
def check(run: int) -> str:
    """The next step, and what was read."""
    return _page(run, "")


@witness_check_pages.post("/witness-check/<int:run>/read")
@allowed(*STAFF)
def read(run: int) -> AnyResponse | tuple[str, int]:
    """Read both now, or put what was read into the register, or stop."""
    checks = WitnessChecks(the_desk().store)
    try:
        match request.form.get("do"):
            case "finish":
                today = local_day(the_desk().store.now(), g.settings.zone)
                checks.finish(run, shop=g.settings.shop, today=today)
            case "stop":
                checks.stop(run, "Stopped by hand.")
            case _:
                checks.read(run, live=the_desk().live)
    except DeskError as error:
        return _page(run, str(error)), 422
    return redirect(f"/witness-check/{run}", 303)


def _index(typed: dict[str, str], errors: dict[str, str]) -> str:
    store = the_desk().store
    return render_template(
        "witness_check_start.html",
        form={"typed": typed, "errors": errors},
        stations=[one.station for one in store.stations.all()],
        rows=WitnessChecks(store).history(),
    )


def _page(run: int, trouble: str) -> str:
    try:
        state = WitnessChecks(the_desk().store).state(run)
    except DeskError as error:
        abort(404, description=str(error))
    return render_template("witness_check.html", run=run, state=state, trouble=trouble)
