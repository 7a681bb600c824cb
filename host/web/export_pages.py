"""Tables for other programs: readings of a run, results, register; as CSV or JSON."""

from flask import Blueprint, Response, abort

from host.errors import DeskError
from host.people.role import STAFF
from host.tables.readings import readings_of_run, readings_table
from host.tables.register import register_table
from host.tables.results import results_table
from host.tables.table import Form, Table, written
from host.web.desk_behind import the_desk
from host.web.rules import allowed

export_pages = Blueprint("export", __name__)


@export_pages.get("/export/results.<any(csv, json):form>")
@allowed(*STAFF)
def results(form: str) -> Response:
    """Every certified point."""
    return _sent(results_table(the_desk().store), Form(form), "results")


@export_pages.get("/export/register.<any(csv, json):form>")
@allowed(*STAFF)
def register(form: str) -> Response:
    """Every entry of the register."""
    return _sent(register_table(the_desk().store), Form(form), "register")


@export_pages.get("/export/runs/<int:run>/readings.<any(csv, json):form>")
@allowed(*STAFF)
def readings(run: int, form: str) -> Response:
    """The readings that a run cites."""
    store = the_desk().store
    try:
        cited = readings_of_run(store, run)
    except DeskError as error:
        abort(404, description=str(error))
    return _sent(readings_table(store, cited), Form(form), f"run-{run:04d}-readings")


def _sent(table: Table, form: Form, name: str) -> Response:
    return Response(
        written(table, form),
        mimetype=form.mimetype,
        headers={"Content-Disposition": f'attachment; filename="{name}.{form.value}"'},
    )
