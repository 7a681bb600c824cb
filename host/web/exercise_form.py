"""The form that makes an exercise, as typed, with what is wrong beside each field."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache

from werkzeug.datastructures import MultiDict

from calibration.curves import ReferenceCurve
from calibration.errors import CurveError
from host.certificates.errors import CertificateError
from host.certificates.printable import printable_text
from host.classroom import on_paper
from host.classroom.exercise import Credits, ExerciseSettings, TypedPoint, Way
from host.classroom.findable import doubt_words, findable
from host.classroom.marking import FULL_CREDIT
from host.classroom.nameable import FAULTS, NOTHING, checked_size
from host.curve_choice import curve_by_name
from host.errors import DeskError
from host.procedures.sender.sender_check_settings import Course
from host.simulated_bench import SIMULATED_CURVE
from host.store import Store
from host.web.scale import Scale, plain_degrees
from host.web.start_form import curves, default_set_points_c, filled_form
from host.web.typed_number import typed_number

#: The most that a box of 1, 2, 4, 8 in four decades can be set to. [Ω]
HIGHEST_BOX_OHM = 16_665.0
#: Field in which the words of a doubt come back once they were read.
NONETHELESS = "nonetheless"
LONGEST_TITLE, LONGEST_QUESTION = 80, 400
_OF_A_CHECK = ("curve", "set_points", "limit_k", "course")
_USUAL = {
    "title": "",
    "question": "What is wrong with this sender, and how much?",
    "curve": "",
    "set_points": "30 60 85",
    "limit_k": "",
    "fault": "series",
    "size": "22",
    "way": Way.BY_NAME.value,
    "tolerance_percent": "20",
    "naming": "40",
    "size_credit": "40",
    "reasoning": "20",
    "readings": "",
    "move_connector": "",
    "course": "",
}
WAYS = {
    Way.BY_NAME: "By name, on simulated benches",
    Way.BY_BOX: "By relay: the decade box in series, or across (real benches too)",
    Way.ON_PAPER: "On paper: a table of readings, no bench",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ExerciseForm:
    """The form.

    Attributes
    ----------
    typed : Mapping[str, str]
    stations : tuple[str, ...]
        Those that were ticked.
    errors : Mapping[str, str]
    settings : ExerciseSettings or None
        What can be made of it, where nothing is wrong.
    doubt : str
        Why the desk itself would not name the fault; it is made nonetheless where just this was accepted.
    """

    typed: Mapping[str, str]
    stations: tuple[str, ...] = ()
    errors: Mapping[str, str] = field(default_factory=dict)
    settings: ExerciseSettings | None = None
    doubt: str = ""


def empty_exercise_form(store: Store, scale: Scale, *, simulated: bool) -> ExerciseForm:
    """Form to be filled in: a fault that the desk itself would find, by the curve of its simulated sender.

    Where nothing is simulated, the first curve that is offered.
    """
    offered = curves(store.curves)
    curve = offered[SIMULATED_CURVE] if simulated else next(iter(offered.values()))
    set_points_c = default_set_points_c(curve)
    return ExerciseForm(
        typed=_USUAL
        | {
            "curve": curve.name,
            "set_points": " ".join(plain_degrees(point, scale).split()[0] for point in set_points_c),
            "size": _size_that_is_found(curve, set_points_c),
            "scale": scale.value,
        }
    )


@lru_cache(maxsize=8)  # the same for everybody who opens the form
def _size_that_is_found(curve: ReferenceCurve, set_points_c: tuple[float, ...]) -> str:
    """The usual size, or the next one from which the desk itself would name the fault."""
    usual = ExerciseSettings(
        title="",
        question="",
        curve=curve.name,
        set_points_c=set_points_c,
        limit_k=None,
        fault=_USUAL["fault"],
        size=float(_USUAL["size"]),
        way=Way(_USUAL["way"]),
    )
    try:
        from_size = findable(usual, curve).from_size
    except CurveError:  # said beside the field once it is sent
        from_size = None
    return _USUAL["size"] if from_size is None else f"{from_size:g}"


def sent_exercise_form(sent: MultiDict[str, str], store: Store, *, made_by: str) -> ExerciseForm:
    """Form as it was sent, checked."""
    typed = {name: sent.get(name, "").strip() for name in (*_USUAL, "scale")}
    stations = tuple(sent.getlist("stations"))
    errors: dict[str, str] = {}
    title = _printable(typed["title"], "the title", LONGEST_TITLE, "title", errors)
    question = _printable(typed["question"], "the question", LONGEST_QUESTION, "question", errors)
    start = filled_form({**typed, "item": "exercise", "rule": "guarded"}, store.curves, None)
    errors |= {name: start.errors[name] for name in _OF_A_CHECK if name in start.errors}
    if "curve" not in errors and typed["curve"] not in _curve_names(store):
        errors["curve"] = "Choose the curve: an exercise is judged against one."
    way = Way(typed["way"]) if typed["way"] in set(Way) else None
    if way is None:
        errors["way"] = "Choose how it is planted."
    size = _size(typed, way, errors)
    credit = _credits(typed, errors)
    tolerance = typed_number(typed["tolerance_percent"])
    if tolerance is None or not 1.0 <= tolerance <= 100.0:
        errors["tolerance_percent"] = "Write a number of per cent from 1 to 100, for example 20."
    known = {station.station for station in store.stations.all()}
    if not set(stations) <= known:
        errors["stations"] = "Choose stations of this desk."
    readings: tuple[TypedPoint, ...] = ()
    if way is Way.ON_PAPER and not errors:
        readings = _readings(typed, size, start.set_points_c, start.limit_k, store, errors)
    form = ExerciseForm(typed=typed, stations=stations, errors=errors)
    if errors or way is None or tolerance is None:
        return form
    settings = ExerciseSettings(
        title=title,
        question=question,
        curve=typed["curve"],
        set_points_c=start.set_points_c,
        limit_k=start.limit_k,
        move_connector=bool(typed["move_connector"]),
        course=Course(start.typed["course"]),
        fault=typed["fault"],
        size=size,
        way=way,
        tolerance_percent=tolerance,
        credits=credit,
        stations=stations,
        readings=readings,
        made_by=made_by,
    )
    doubt = _doubt(settings, store, are_typed=bool(typed["readings"]))
    if doubt and sent.get(NONETHELESS) != doubt:
        return ExerciseForm(typed=typed, stations=stations, doubt=doubt)
    return ExerciseForm(typed=typed, stations=stations, settings=replace(settings, doubt=doubt))


def _doubt(settings: ExerciseSettings, store: Store, *, are_typed: bool) -> str:
    """Why the desk would not name the fault; nothing where the check itself would refuse to begin."""
    made = settings if are_typed else replace(settings, readings=())
    try:
        return doubt_words(made, curve_by_name(settings.curve, store.curves))
    except CurveError:
        return ""


def _curve_names(store: Store) -> set[str]:
    return set(curves(store.curves))


def _printable(text: str, meaning: str, longest: int, name: str, errors: dict[str, str]) -> str:
    try:
        printed = printable_text(text, meaning, longest=longest)
    except CertificateError as error:
        errors[name] = str(error)
        return ""
    if not printed:
        errors[name] = f"Write {meaning}: students read it first."
    return printed


def _size(typed: Mapping[str, str], way: Way | None, errors: dict[str, str]) -> float:
    fault = FAULTS.get(typed["fault"])
    if fault is None or not fault.is_plantable:
        errors["fault"] = "Choose a fault that can be planted, or nothing."
        return 1.0
    if way is Way.BY_BOX and fault.box is None and fault.key != NOTHING:
        errors["way"] = (
            "The decade box can stand in for a resistance in series or a path across the terminals alone: "
            "choose one of these, or plant it by name on a simulated bench."
        )
    if fault.is_of_no_sender and way is not Way.ON_PAPER:
        errors["way"] = "This fault is none of the sender's: no bench plants it. Choose a table on paper."
    size = typed_number(typed["size"])
    if typed["size"] and size is None:
        errors["size"] = "Write a number with a decimal point, for example 22 or -3.5."
        return 1.0
    by_box = way is Way.BY_BOX and fault.box is not None
    try:
        return checked_size(fault, size, box_highest_ohm=HIGHEST_BOX_OHM if by_box else None)
    except DeskError as error:
        errors["size"] = str(error)
        return 1.0


def _credits(typed: Mapping[str, str], errors: dict[str, str]) -> Credits:
    parts = [typed[name] for name in ("naming", "size_credit", "reasoning")]
    if (
        not all(part.isascii() and part.isdecimal() for part in parts)
        or sum(int(part) for part in parts) != FULL_CREDIT
    ):
        errors["naming"] = f"Write three whole numbers that sum to {FULL_CREDIT}."
        return Credits()
    naming, size, reasoning = (int(part) for part in parts)
    return Credits(naming=naming, size=size, reasoning=reasoning)


def _readings(
    typed: Mapping[str, str],
    size: float,
    set_points_c: tuple[float, ...],
    limit_k: float | None,
    store: Store,
    errors: dict[str, str],
) -> tuple[TypedPoint, ...]:
    """Readings on paper: typed, or made from the fault; tried against the curve at once."""
    try:
        curve = curve_by_name(typed["curve"], store.curves)
        readings = (
            on_paper.typed_readings(typed["readings"])
            if typed["readings"]
            else on_paper.readings_of_a_fault(curve, typed["fault"], size, set_points_c)
        )
        on_paper.judged(readings, curve, limit_k)
    except (DeskError, CurveError) as error:
        errors["readings"] = str(error)
        return ()
    return readings
