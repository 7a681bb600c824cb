"""Pages of the instructor: exercises made, handed out, planted, looked at, marked and closed.

What was planted shows on the press of a button alone: a room reads this screen from the back row.
"""

from dataclasses import dataclass

from flask import Blueprint, Response, abort, g, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from host.classroom.exercise import Attempt, ExerciseSettings
from host.classroom.exercises import Exercise
from host.classroom.marking import Marks, marks_of, truth_words
from host.classroom.nameable import plantable
from host.classroom.student_view import StudentDeadPoint, StudentPoint
from host.curve_choice import curve_by_name
from host.errors import DeskError
from host.people.account import Account
from host.people.deed import Deed
from host.people.role import Role
from host.procedures.sender.sender_check_state import Phase
from host.tables.marks import class_of, marks_table
from host.tables.table import Form, written
from host.web.audit_note import note
from host.web.desk_behind import the_desk
from host.web.door import the_visitor
from host.web.exercise_form import WAYS, ExerciseForm, empty_exercise_form, sent_exercise_form
from host.web.number_in_form import number_of
from host.web.rules import allowed
from host.web.start_form import curve_choices
from host.web.student_desk import table_on_paper, why_of

exercises_pages = Blueprint("exercises", __name__)

#: Shares of the credit for a sentence, as the form offers them.
SHARES = {"0": "none of it", "0.25": "a quarter", "0.5": "half", "0.75": "three quarters", "1": "all of it"}
_LONGEST_WORDS = 300


@dataclass(frozen=True, slots=True, kw_only=True)
class AttemptRow:
    """One student's way, as the instructor sees it. ``why`` is what the desk makes of the readings."""

    attempt: Attempt
    word: str
    marks: Marks | None
    why: tuple[str, ...]


@exercises_pages.get("/exercises")
@allowed(Role.INSTRUCTOR)
def index() -> str:
    """Every exercise, the newest first."""
    rows = [
        (one, sum(attempt.answer is not None for attempt in one.state.attempts.values()))
        for one in the_desk().exercises.all()
    ]
    return render_template("exercises.html", rows=rows)


@exercises_pages.get("/exercises/new")
@allowed(Role.INSTRUCTOR)
def new() -> str:
    """The form that makes one."""
    desk = the_desk()
    newest = [desk.live.latest(station.station) for station in desk.store.stations.all()]
    simulated = any(pack is not None and pack.simulated for pack in newest)
    return _form_page(empty_exercise_form(desk.store, g.scale, simulated=simulated))


@exercises_pages.post("/exercises/new")
@allowed(Role.INSTRUCTOR)
def make() -> AnyResponse | tuple[str, int]:
    """Make an exercise, or say beside the field why not."""
    _refuse_open_desk()
    form = sent_exercise_form(request.form, the_desk().store, made_by=the_visitor().name)
    if form.settings is None:
        return _form_page(form), 422
    return redirect(f"/exercises/{the_desk().exercises.make(form.settings)}", 303)


@exercises_pages.get("/exercises/<int:number>")
@allowed(Role.INSTRUCTOR)
def exercise(number: int) -> str:
    """One exercise without what was planted."""
    return _page(number)


@exercises_pages.post("/exercises/<int:number>/show")
@allowed(Role.INSTRUCTOR)
def show(number: int) -> str:
    """The same with what was planted; a reload hides it again."""
    _exercise(number)
    note(Deed.PLANT_SHOWN, f"exercise {number:04d}")
    return _page(number, shows=True)


@exercises_pages.post("/exercises/<int:number>/assign")
@allowed(Role.INSTRUCTOR)
def assign(number: int) -> AnyResponse | tuple[str, int]:
    """Hand it to the students that were ticked."""
    _exercise(number)
    store, chosen = the_desk().store, request.form.getlist("account", type=number_of)
    try:
        for account in chosen:
            the_desk().exercises.assign(number, store.people.numbered(account))
    except DeskError as error:
        return _page(number, errors={"assign": str(error)}), 422
    if not chosen:
        return _page(number, errors={"assign": "Tick one student at least."}), 422
    return redirect(f"/exercises/{number}", 303)


@exercises_pages.post("/exercises/<int:number>/plant")
@allowed(Role.INSTRUCTOR)
def plant(number: int) -> AnyResponse | tuple[str, int]:
    """Plant it at the stations that were ticked; what went wrong stands beside each afterwards."""
    _exercise(number)
    stations = request.form.getlist("station")
    known = {station.station for station in the_desk().store.stations.all()}
    if not stations or not set(stations) <= known:
        return _page(number, errors={"plant": "Tick one station of this desk at least."}), 422
    told = the_desk().exercises.plant_at(number, stations)
    still = _exercise(number).state.open_stations
    kept = [
        f"{trouble} What was planted at {station} before stays there."
        for station, trouble in told.items()
        if trouble and station in still
    ]
    if kept:
        return _page(number, errors={"plant": " ".join(kept)}), 422
    return redirect(f"/exercises/{number}", 303)


@exercises_pages.post("/exercises/<int:number>/mark/<int:account>")
@allowed(Role.INSTRUCTOR)
def mark(number: int, account: int) -> AnyResponse | tuple[str, int]:
    """Mark the sentence of one student."""
    _exercise(number)
    share, words = request.form.get("share", ""), " ".join(request.form.get("words", "").split())
    if share not in SHARES:
        return _page(number, errors={f"mark-{account}": "Choose how much of its credit it earns."}), 422
    the_desk().exercises.mark(
        number, account, share=float(share), words=words[:_LONGEST_WORDS], by=the_visitor().name
    )
    return redirect(f"/exercises/{number}#student-{account}", 303)


@exercises_pages.post("/exercises/<int:number>/close")
@allowed(Role.INSTRUCTOR)
def close(number: int) -> AnyResponse:
    """Close it: nobody begins or answers it any more."""
    _exercise(number)
    the_desk().exercises.close(number)
    return redirect(f"/exercises/{number}", 303)


@exercises_pages.get("/exercises/<int:number>/marks.<any(csv, json):form>")
@allowed(Role.INSTRUCTOR)
def marks(number: int, form: str) -> Response:
    """Answers and marks as a table."""
    kind, found = Form(form), _exercise(number)
    return Response(
        written(marks_table(found, class_of(found, the_desk().store, g.settings.zone)), kind),
        mimetype=kind.mimetype,
        headers={"Content-Disposition": f'attachment; filename="exercise-{number:04d}-marks.{form}"'},
    )


def _page(number: int, *, shows: bool = False, errors: dict[str, str] | None = None) -> str:
    found, desk = _exercise(number), the_desk()
    made = found.state.made
    stations = [
        (station.station, found.state.planted_at.get(station.station), desk.runs.open_run_of(station.station))
        for station in desk.store.stations.all()
        if not made.stations or station.station in made.stations
    ]
    return render_template(
        "exercise.html",
        exercise=found,
        rows=[_row(found, attempt) for attempt in _by_name(found)],
        others=[one for one in _students() if one.number not in found.state.attempts],
        stations=stations,
        readings=_table_on_paper(made),
        truth=truth_words(made) if shows else "",
        way=WAYS[made.way],
        shares=SHARES,
        errors=errors or {},
    )


def _table_on_paper(made: ExerciseSettings) -> tuple[StudentPoint | StudentDeadPoint, ...]:
    if not made.readings:
        return ()
    return table_on_paper(made, curve_by_name(made.curve, the_desk().store.curves))


def _row(found: Exercise, attempt: Attempt) -> AttemptRow:
    marks = None
    if attempt.answer is not None:
        marks = marks_of(found.state.made, attempt.answer, attempt.mark)
    return AttemptRow(
        attempt=attempt,
        word=_word(attempt, marks),
        marks=marks,
        why=why_of(the_desk(), found, attempt),
    )


def _word(attempt: Attempt, marks: Marks | None) -> str:
    if marks is not None:
        return f"marked, {marks.total:g} of 100" if marks.is_whole else "answered, sentence to be marked"
    if attempt.run is None:
        return "not begun"
    view = the_desk().runs.view(attempt.run)
    if not view.state.is_over:
        return f"step {view.card.step} of {view.card.steps}"
    return "stopped" if view.state.phase is Phase.STOPPED else "has measured"


def _by_name(found: Exercise) -> list[Attempt]:
    return sorted(found.state.attempts.values(), key=lambda attempt: attempt.name.casefold())


def _students() -> list[Account]:
    everybody = the_desk().store.people.all()
    found = [one for one in everybody if one.roles == {Role.STUDENT} and not one.disabled]
    return sorted(found, key=lambda one: (one.group.casefold(), one.name.casefold()))


def _form_page(form: ExerciseForm) -> str:
    store = the_desk().store
    return render_template(
        "exercise_new.html",
        form=form,
        curves=curve_choices(store.curves),
        faults=plantable(),
        ways=WAYS,
        stations=[station.station for station in store.stations.all()],
    )


def _exercise(number: int) -> Exercise:
    try:
        return the_desk().exercises.get(number)
    except DeskError as error:
        abort(404, description=str(error))


def _refuse_open_desk() -> None:
    if the_visitor().is_open_desk:
        raise DeskError(
            "Exercises need to know who answers: add accounts first, the first one in a terminal "
            '(ohmbath person add "NAME" --role instructor --role authoriser).'
        )
