"""The same readings under several planted faults: no byte that a student can get tells them apart."""

import dataclasses
import itertools
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, get_args, get_type_hints

import pytest
from argon2 import PasswordHasher

from calibration.contract.readings import Insertion, ReadingPack
from host.classroom import student_view
from host.classroom.exercise import Answer, ExerciseSettings, Way
from host.classroom.marking import truth_words
from host.classroom.planted_box import APART, Sight
from host.people.password import Passwords
from host.people.role import Role
from host.web import student_desk
from host.web.app import create_app
from host.web.form_key import FIELD, key_of
from host.web.rules import allowed
from host.web.visit import COOKIE
from tests.host.web.filled_forms import AN_INFRARED_CHECK, AT_A_STATION

pytestmark = [pytest.mark.slow, pytest.mark.timeout(1200)]

TOKEN = "t" * 43
QUICK = Passwords(PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
#: What was planted; on the first two the decade box stands in the circuit, on the others it does not.
PLANTS: Mapping[str, Mapping[str, Any]] = {
    "series by relay": {"fault": "series", "size": 22.0, "way": Way.BY_BOX},
    "across by relay": {"fault": "leakage", "size": 12.0, "way": Way.BY_BOX},
    "series by name": {"fault": "series", "size": 40.0, "way": Way.BY_NAME},
    "nothing by relay": {"fault": "healthy", "size": 1.0, "way": Way.BY_BOX},
}
STAGES = (
    "handed out", "planted", "begun", "stopped", "order refused", "begun again", "checking its ohms",
    "reading", "over", "pressed", "closed",
)  # fmt: skip
#: Arguments of addresses, with every value worth asking for; an address with another argument fails the test.
VALUES: Mapping[str, tuple[Any, ...]] = {
    "number": (1, 2, 3, 4, 99),
    "run": (1, 2, 3, 4),
    "account": (1, 2),
    "station": ("bench-1",),
    "serial": ("P-1",),
    "name": ("ntc-310-80c",),
    "topic": ("exercises", "people"),
    "sha256": ("0" * 64,),
    "filename": ("ohmbath.css",),
    "form": ("csv", "json"),
}
#: What is typed into every form: each takes what it knows.
FORM = {"station": "bench-1", "fault": "series", "size": "22", "unit": "Ω", "sentence": "It reads low."}
#: A student may also check an infrared thermometer at the bench at which something is planted.
INFRARED = AN_INFRARED_CHECK | AT_A_STATION
#: Pressed last, and in this order: they change what there is to be seen.
LAST = ("/exercise/1/stop", "/you/password", "/sign-out")


def settings_of(plant: str) -> ExerciseSettings:
    return ExerciseSettings(
        title="The blue estate", question="What is wrong with this sender?", curve="ntc-310-80c",
        made_by="Ida Marsh", **PLANTS[plant],
    )  # fmt: skip


class Room:
    """A desk with one exercise and its student; its bench reads the same whatever is planted."""

    def __init__(self, desk: Any, plant: str) -> None:
        self.desk = desk
        # Else a busy machine would make one room's bench silent, and not another's.
        desk.live._wall_s = lambda: 1000.0
        self.bench = desk.add_bench()
        self.bench.feels_the_box = False
        self.bench.feels_the_relays = True
        self.bench.series_ohm = 25.0
        desk.store.people.add("Ida Marsh", frozenset({Role.INSTRUCTOR}))
        student = desk.store.people.add("Bo Quill", frozenset({Role.STUDENT}))
        self.student = student.number
        desk.store.sessions.begin(student.number)
        self.exercise = desk.exercises.make(settings_of(plant))
        desk.exercises.assign(self.exercise, student)
        self.app = create_app(desk, passwords=QUICK)
        self.bench.say()
        self.bench.read(40)

    def go_on_to(self, stage: str) -> None:
        if stage == "planted":
            begun = self.answer("POST", "/infrared", INFRARED)
            assert (begun[0], ("Location", "/infrared/2") in begun[1]) == (303, True)
            assert self.desk.exercises.plant(self.exercise, "bench-1") == ""
            self.bench.read(20)
        elif stage == "begun":
            self.run = self.desk.exercises.begin(self.exercise, self.student, "bench-1")
            self.lead_through(40)
        elif stage == "stopped":
            self.desk.exercises.stop_run(self.run)
            self.lead_through(8)
        elif stage == "order refused":
            self.bench.refuses = refused_but_apart
            self.run = self.desk.exercises.begin(self.exercise, self.student, "bench-1")
            self.lead_through(20)
            self.refused = self.desk.runs.student_card(self.run), self.desk.runs.view(self.run).card
        elif stage == "begun again":
            self.bench.refuses = None
            self.lead_through(40)
        elif stage == "checking its ohms":
            self.lead_to(lambda view: len(view.state.box_read) >= 3)
        elif stage == "reading":
            self.lead_to(lambda view: view.state.opened_at is not None and view.state.windows)
        elif stage == "over":
            self.lead_to(lambda view: view.state.is_over)
            self.bench.read(20)
        elif stage == "closed":
            self.desk.exercises.close(self.exercise)
            self.bench.read(20)
        self.bench.say()
        self.desk.live.hear("bench-1")

    def lead_through(self, passes: int) -> None:
        """Lead the run from reading to reading, so that it shows at which of them a relay moved."""
        for _ in range(passes):
            self.desk.lead()
            self.bench.read()

    def lead_to(self, is_there: Callable[[Any], Any]) -> None:
        def led() -> bool:
            view = self.desk.runs.view(self.run)
            if is_there(view):
                return True
            self.desk.hands.watch((view,))
            return False

        self.desk.lead_until(led, bench=self.bench)

    def everything(self, method: str = "GET", *, but: tuple[str, ...] = ()) -> dict[str, tuple[Any, ...]]:
        """What the student's browser gets from every address there is."""
        self.desk.live.hear("bench-1")
        asked = [one for one in addresses(self.app) if one[0] == method and one[1] not in but]
        asked.sort(key=lambda one: (one[1] in LAST, LAST.index(one[1]) if one[1] in LAST else 0))
        return {f"{method} {address}": self.answer(method, address) for method, address in asked}

    def answer(self, method: str, address: str, form: Mapping[str, str] | None = None) -> tuple[Any, ...]:
        reader = self.app.test_client()
        reader.set_cookie(COOKIE, TOKEN, httponly=True)
        options = {"data": {**(form or FORM), FIELD: key_of(TOKEN)}} if method == "POST" else {}
        said = reader.open(address, method=method, buffered=False, **options)
        if said.mimetype == "text/event-stream":
            body = b"".join(itertools.islice(said.iter_encoded(), 3))
        else:
            body = said.get_data()
        said.close()
        return said.status_code, sorted(_without_clock(said.headers)), body


def refused_but_apart(do: str, fields: Mapping[str, Any]) -> str:
    """A rig that takes the box to the place apart and nowhere else; its words tell what it was asked for."""
    to_a_place = do == "set_insertion" and fields["insertion"] != APART.value
    return f"{do} {dict(fields)} is locked" if to_a_place else ""


def _without_clock(headers: Any) -> Iterator[tuple[str, str]]:
    """Headers without the time of day, which goes on from room to room."""
    for name, text in headers.items():
        if name != "Date":
            yield name, re.sub(r"Expires=[^;]*; ", "", text)


def addresses(app: Any) -> Iterator[tuple[str, str]]:
    """Every address of the app's own map, in each way it may be asked for."""
    for route in sorted(app.url_map.iter_rules(), key=str):
        unknown = route.arguments - set(VALUES)
        assert not unknown, f"{route.rule}: say in VALUES what may stand for {unknown}"
        names = sorted(route.arguments)
        for values in itertools.product(*(VALUES[name] for name in names)):
            with app.test_request_context():
                address = app.url_for(route.endpoint, **dict(zip(names, values, strict=True)))
            for method in sorted(route.methods & {"GET", "POST"}):
                yield method, address


def differences(one: Mapping[str, Any], other: Mapping[str, Any]) -> list[str]:
    return [asked for asked in one if one[asked] != other[asked]]


@dataclass
class Replay:
    """Rooms with one plant each, all over, and what their students got on the way."""

    rooms: dict[str, Room] = field(default_factory=dict)
    seen: dict[tuple[str, str], dict[str, tuple[Any, ...]]] = field(default_factory=dict)


@pytest.fixture(scope="module")
def replay(tmp_path_factory: Any, small_desk: Any) -> Iterator[Replay]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("host.store.sessions.new_token", lambda: TOKEN)
        patch.setattr("host.web.sign_in_pages.new_token", lambda: TOKEN)
        # What was refused is ordered again at once, not by the clock of this machine.
        patch.setattr("host.procedures.bench_orders._RETRY_S", 0.0)
        # A stream says what it has to say at once; how long it would wait is of no moment here.
        patch.setattr("host.web.live_stream.QUIET_S", 0.0)
        patch.setattr("host.web.student_live.EVENT_EVERY_S", 0.0)
        made = Replay()
        for plant in PLANTS:
            desk = small_desk(tmp_path_factory.mktemp("room"), now=lambda: 1_750_000_000.0)
            room = made.rooms[plant] = Room(desk, plant)
            for stage in STAGES:
                room.go_on_to(stage)
                pressed = stage == "pressed"
                made.seen[plant, stage] = room.everything("POST", but=LAST) if pressed else room.everything()
        yield made
        for room in made.rooms.values():
            room.desk.close()


def test_the_plants_are_in_the_rooms_and_their_readings_are_alike(replay):
    """Else the rest would show nothing."""
    packs = {plant: room.desk.live.since("bench-1")[0] for plant, room in replay.rooms.items()}
    values = [[pack.channels for pack in some] for some in packs.values()]
    assert all(one == values[0] for one in values)
    stood = {
        plant: {(pack.insertion, pack.decade_ohm) for pack in some if pack.insertion in _PLANTED_IN}
        for plant, some in packs.items()
    }
    assert stood["series by relay"] == {(Insertion.SERIES, 22.0)}
    assert stood["across by relay"] == {(Insertion.PARALLEL, 12_000.0)}
    assert stood["series by name"] == stood["nothing by relay"] == set()
    for plant, room in replay.rooms.items():
        state = room.desk.runs.view(room.run).state
        assert state.verdict == "out_of_tolerance" and len(state.windows) == 3, plant


_PLANTED_IN = (Insertion.SERIES, Insertion.PARALLEL)


@pytest.mark.parametrize("stage", STAGES)
@pytest.mark.parametrize("plant", list(PLANTS)[1:])
def test_every_byte_that_a_student_can_get_is_the_same_whatever_was_planted(replay, plant, stage):
    first = next(iter(PLANTS))
    assert differences(replay.seen[first, stage], replay.seen[plant, stage]) == []


def test_what_was_compared_is_what_a_student_looks_at(replay):
    seen = replay.seen["series by relay", "over"]
    status, _, page = seen["GET /exercise/1"]
    assert status == 200 and "What was read" in page.decode() and "Your answer" in page.decode()
    status, _, stream = replay.seen["series by relay", "reading"]["GET /exercise/1/live"]
    assert status == 200 and "Sender" in stream.decode() and '"points":[[' in stream.decode()
    assert seen["GET /runs/4"][0] == seen["GET /stations/bench-1/live"][0] == seen["GET /audit"][0] == 403
    assert seen["GET /"][0] == 303 and seen["GET /infrared/2"][0] == 200


def test_a_desk_s_own_diagnosis_is_in_none_of_it(replay):
    room = replay.rooms["series by relay"]
    exercise = room.desk.exercises.get(room.exercise)
    why = student_desk.why_of(room.desk, exercise, exercise.state.attempts[room.student])
    assert any("Most likely" in words or "Cannot tell" in words for words in why)
    for asked, (_, _, body) in replay.seen["series by relay", "over"].items():
        for words in why:
            assert words[:40].encode() not in body, asked


@pytest.mark.parametrize("hidden", ["a page", "a word", "a reading", "a header"])
def test_a_plant_that_shows_in_one_place_is_found(replay, monkeypatch, hidden):
    """The comparison can fail: each of these gives it away in one place."""
    found = {}
    for plant in ("series by relay", "series by name"):
        room = replay.rooms[plant]
        app = create_app(room.desk, passwords=QUICK)
        made = room.desk.exercises.get(room.exercise).state.made
        if hidden == "a page":
            app.add_url_rule("/exercise/<int:number>/hint", "hint", allowed(Role.STUDENT)(_says(made)))
        elif hidden == "a word":
            app.jinja_env.globals["program_version"] = truth_words(made)
            template = app.jinja_env.from_string("<!-- {{ program_version }} -->")
            app.after_request(lambda answer, t=template: _with(answer, t.render()))
        elif hidden == "a reading":
            monkeypatch.setattr(student_desk.StudentDesk, "seen_as", _seen_as_it_is)
        else:
            app.after_request(lambda answer, m=made: _with_header(answer, m))
        monkeypatch.setattr(room, "app", app)
        found[plant] = room.everything()
        monkeypatch.undo()
    told = differences(*found.values())
    expected = {"a page": "GET /exercise/1/hint", "a reading": "GET /exercise/1/live"}.get(
        hidden, "GET /exercise/1"
    )
    assert expected in told


def _says(made: ExerciseSettings) -> Callable[..., str]:
    def hint(number: int) -> str:
        return truth_words(made)

    return hint


def _with(answer: Any, text: str) -> Any:
    if answer.mimetype == "text/html":
        answer.set_data(answer.get_data() + text.encode())
    return answer


def _with_header(answer: Any, made: ExerciseSettings) -> Any:
    answer.headers["X-Plant"] = made.fault + str(made.size)
    return answer


def _seen_as_it_is(student: Any, number: int) -> Callable[[ReadingPack], Any]:
    """As if the view forgot that what was planted is taken away again."""
    box = student._found(number).state.made.box
    sight = Sight(box=box, heated_from=("", 0))
    return lambda pack: student_desk.student_reading_of(pack, sight)


def test_what_a_student_presses_leads_to_the_same_answers_too(replay):
    """Last: it changes what is there."""
    pressed = [room.everything("POST") for room in replay.rooms.values()]
    for other in pressed[1:]:
        assert [(pressed[0][one], other[one]) for one in differences(pressed[0], other)] == []
    before = replay.seen["series by relay", "pressed"]
    assert before["POST /exercise/1/answer"][0] == 200  # shown once more, not given
    assert pressed[0]["POST /exercise/1/answer"][0] == 303  # closed


def test_a_student_s_card_says_that_there_is_trouble_and_not_what_was_ordered(replay):
    cards = {plant: room.refused for plant, room in replay.rooms.items()}
    told = {student.trouble for student, _ in cards.values()}
    assert told == {"The bench does not do as it should: fetch your instructor."}
    for plant, words in (("series by relay", "series"), ("across by relay", "parallel"),
                         ("nothing by relay", "none")):  # fmt: skip
        assert f"{{'insertion': '{words}'}} is locked" in cards[plant][1].trouble
    assert len({replace(student, trouble=None) for student, _ in cards.values()}) == 1
    for student, staff in cards.values():
        assert replace(staff, trouble=student.trouble) == student


def test_closed_an_exercise_says_that_and_nothing_of_what_it_was(replay):
    for plant, room in replay.rooms.items():
        status, _, page = replay.seen[plant, "closed"]["GET /exercise/1"]
        assert status == 200 and "This exercise is closed" in page.decode()
        assert truth_words(room.desk.exercises.get(room.exercise).state.made) not in page.decode()
        assert room.bench._insertion is Insertion.NONE


FORBIDDEN = {"insertion", "decade_ohm", "plant", "fault", "opinions", "why", "truth", "box", "settings"}


def test_a_student_s_view_has_no_place_for_a_plant():
    """Nothing reachable from the types of the view is of a kind that knows one."""
    known = {Insertion, ReadingPack, ExerciseSettings, Answer}
    begin = [student_view.StudentExercise, student_view.StudentBench, student_view.StudentRow]
    seen: set[Any] = set()
    while begin:
        kind = begin.pop()
        if kind in seen:
            continue
        seen.add(kind)
        assert kind not in known
        if dataclasses.is_dataclass(kind):
            names = {one.name for one in dataclasses.fields(kind)}
            assert not names & {
                "insertion",
                "decade_ohm",
                "plant",
                "fault",
                "opinions",
                "why",
                "truth",
                "box",
            }
            begin.extend(get_type_hints(kind).values())
        begin.extend(get_args(kind))
    assert student_view.StudentPoint in seen and student_view.StudentReading in seen
