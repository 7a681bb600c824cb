"""Pages of a student: the exercises, the sender check of one, its answer, and what came of it.

They are made from `host.classroom.student_view` alone and import nothing that knows what was planted.
"""

from dataclasses import dataclass, field, replace

from flask import (
    Blueprint,
    Response,
    abort,
    g,
    make_response,
    redirect,
    render_template,
    request,
)
from werkzeug.wrappers import Response as AnyResponse

from host.certificates.printable import seen_text
from host.classroom.nameable import FAULTS, UNITS, NameableFault, size_in
from host.classroom.student_view import StudentExercise
from host.errors import DeskError
from host.people.role import Role
from host.web.desk_behind import the_desk
from host.web.door import the_visitor
from host.web.live_stream import stream_of
from host.web.rules import allowed
from host.web.station_now import card_mark, thermometers_in_register
from host.web.student_desk import StudentDesk
from host.web.student_live import student_events, student_values
from host.web.typed_number import typed_number

student_pages = Blueprint("student", __name__)

_LONGEST_SENTENCE = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerForm:
    """An answer as it was typed, with what is wrong with it beside each field."""

    fault: str = ""
    size: str = ""
    unit: str = ""
    sentence: str = ""
    size_number: float | None = None
    errors: dict[str, str] = field(default_factory=dict)

    @property
    def words(self) -> str:
        """Fault and size, to be read once more before they are given."""
        size = f", {self.size} {self.unit}" if self.size else ""
        return f"{FAULTS[self.fault].words}{size}"


@student_pages.get("/exercise")
@allowed(Role.STUDENT)
def index() -> str:
    """The exercises of whoever is signed in."""
    return render_template("student_exercises.html", rows=_student().rows())


@student_pages.get("/exercise/<int:number>")
@allowed(Role.STUDENT)
def exercise(number: int) -> str:
    """One exercise: what is to be done next."""
    return _page(number)


@student_pages.post("/exercise/<int:number>/begin")
@allowed(Role.STUDENT)
def begin(number: int) -> AnyResponse | tuple[str, int]:
    """Begin the sender check, or say beside the field why not."""
    _exercise(number)
    try:
        _student().begin(number, request.form.get("station", ""))
    except DeskError as error:
        return _page(number, trouble=str(error)), 422
    return redirect(f"/exercise/{number}", 303)


@student_pages.get("/exercise/<int:number>/card")
@allowed(Role.STUDENT)
def card(number: int) -> Response:
    """The step card alone, for a page that is already open."""
    found = _exercise(number)
    response = make_response(render_template("_card.html", **_card_of(found)))
    response.headers["Cache-Control"] = "no-store"
    return response


@student_pages.get("/exercise/<int:number>/live")
@allowed(Role.STUDENT)
def live(number: int) -> Response:
    """Live values, strip, chart points and card mark of the bench of one's own run."""
    _exercise(number)
    student, desk = _student(), the_desk()
    bench = student.bench(number)
    if bench is None:
        abort(404, description="Nothing is being read for this exercise yet.")
    events = student_events(
        desk,
        student,
        number,
        scale=g.scale,
        last_id=request.headers.get("Last-Event-ID", request.args.get("after", "")),
        thermometers=thermometers_in_register(desk, bench.station),
    )
    return stream_of(events)


@student_pages.post("/exercise/<int:number>/press")
@allowed(Role.STUDENT)
def press(number: int) -> AnyResponse:
    """The one button. A press that comes twice, or late, changes nothing."""
    found = _exercise(number)
    if found.run is None or found.run.card is None:
        return redirect(f"/exercise/{number}", 303)
    now = found.run.card
    if now.button is not None and request.form.get("step") in (None, str(now.step)):
        the_desk().runs.press(found.run.number, other=request.form.get("answer") == "other")
    return redirect(f"/exercise/{number}", 303)


@student_pages.post("/exercise/<int:number>/hands")
@allowed(Role.STUDENT)
def hands(number: int) -> AnyResponse:
    """Let the simulated hands do what the card asks for."""
    helper = the_desk().hands
    if helper is None:
        raise DeskError("There are no simulated hands at this desk: its benches need real ones.")
    found = _exercise(number)
    if found.run is not None and found.run.card is not None:
        helper.do(found.run.number)
    return redirect(f"/exercise/{number}", 303)


@student_pages.post("/exercise/<int:number>/stop")
@allowed(Role.STUDENT)
def stop(number: int) -> AnyResponse:
    """Stop the sender check; it may be begun again."""
    found = _exercise(number)
    if found.run is not None and found.run.card is not None:
        the_desk().exercises.stop_run(found.run.number)
    return redirect(f"/exercise/{number}", 303)


@student_pages.post("/exercise/<int:number>/answer")
@allowed(Role.STUDENT)
def answer(number: int) -> AnyResponse | tuple[str, int] | str:
    """Show the answer once more, then take it; or say beside the field what is missing."""
    found = _exercise(number)
    form = sent_answer()
    if not found.may_answer:
        return redirect(f"/exercise/{number}", 303)
    if "again" in request.form:
        return _page(number, form=replace(form, errors={}))
    if form.errors:
        return _page(number, form=form), 422
    if "sure" not in request.form:
        return render_template("student_sure.html", exercise=found, form=form)
    _student().answer(
        number,
        fault=form.fault,
        size=form.size_number,
        unit=form.unit if form.size else "",
        sentence=form.sentence,
    )
    return redirect(f"/exercise/{number}", 303)


def sent_answer() -> AnswerForm:
    """Answer as it was sent, checked."""
    typed = {name: seen_text(request.form.get(name, "")) for name in ("fault", "size", "unit", "sentence")}
    errors: dict[str, str] = {}
    fault = FAULTS.get(typed["fault"])
    if fault is None:
        errors["fault"] = "Choose what is wrong, or that nothing is."
    number = typed_number(typed["size"])
    if typed["size"] and number is None:
        errors["size"] = "Write a number with a decimal point, for example 22 or -3.5."
    elif typed["size"] and typed["unit"] not in UNITS:
        errors["size"] = "Choose the unit beside the number."
    elif fault is not None and number is not None and not _fits(fault, number, typed["unit"]):
        errors["size"] = f"The size of this fault is told in {fault.unit}, not in {typed['unit']}."
    elif fault is not None and fault.has_size and not typed["size"]:
        errors["size"] = "Write how large this fault is, as well as your readings tell."
    if not typed["sentence"]:
        errors["sentence"] = "Write in one sentence what makes you think so."
    elif len(typed["sentence"]) > _LONGEST_SENTENCE:
        errors["sentence"] = f"One sentence of {_LONGEST_SENTENCE} characters at most, please."
    return AnswerForm(**typed, size_number=number, errors=errors)


def _fits(fault: NameableFault, size: float, unit: str) -> bool:
    """Whether a unit can be that of a fault's size; a fault without one takes any."""
    return not fault.has_size or size_in(fault.unit, size, unit) is not None


def _page(number: int, *, trouble: str = "", form: AnswerForm | None = None) -> str:
    found, student = _exercise(number), _student()
    if found.is_answered:
        return render_template("student_feedback.html", exercise=found, feedback=student.feedback(number))
    bench = student.bench(number)
    known = None if bench is None else thermometers_in_register(the_desk(), bench.station)
    return render_template(
        "student_exercise.html",
        bench=bench,
        values=student_values(bench, known, student.curve(number)),
        trouble=trouble,
        form=form or AnswerForm(),
        faults=tuple(FAULTS.values()),
        units=UNITS,
        **_card_of(found),
    )


def _card_of(found: StudentExercise) -> dict[str, object]:
    now = None if found.run is None else found.run.card
    can_help = the_desk().hands is not None and found.run is not None and found.run.simulated
    return {
        "exercise": found,
        "card": now,
        "mark": "" if now is None else card_mark(now),
        "is_over": now is None,
        "to": f"/exercise/{found.number}",
        "hands": can_help and now is not None and now.is_hands_turn,
    }


def _student() -> StudentDesk:
    """View of whoever is signed in; at an open desk nobody has exercises."""
    account = the_visitor().account
    return StudentDesk(the_desk(), 0 if account is None else account.number)


def _exercise(number: int) -> StudentExercise:
    try:
        return _student().exercise(number)
    except DeskError as error:
        abort(404, description=str(error))
