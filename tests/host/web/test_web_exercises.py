"""A class at a desk: one exercise from making it to its marks."""

import csv
import html
import io
import re
from datetime import datetime
from typing import Any

import pytest
from argon2 import PasswordHasher

from calibration.contract.readings import Insertion
from host.people.password import Passwords
from host.people.role import Role
from host.store.people import NewStudent
from host.web.app import create_app
from host.web.visit import COOKIE

pytestmark = pytest.mark.slow

QUICK = Passwords(PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
MADE = {
    "title": "The blue estate", "question": "What is wrong with this sender, and how much?",
    "curve": "ntc-310-80c", "set_points": "30 60 85", "limit_k": "", "fault": "series", "size": "40",
    "way": "by_box", "tolerance_percent": "20", "naming": "40", "size_credit": "40", "reasoning": "20",
    "readings": "", "scale": "c",
}  # fmt: skip
ANSWER = {"fault": "series", "size": "52", "unit": "Ω", "sentence": "It is off by the same ohms when hot."}


class Class:
    """A desk, its instructor and two students, each at a browser."""

    def __init__(self, desk: Any) -> None:
        self.desk = desk
        self.bench = desk.add_bench()
        self.bench.say()
        self.bench.read(40)
        self.app = create_app(desk, passwords=QUICK)
        self.instructor = self.sit_down("Ida Marsh", Role.INSTRUCTOR)
        self.student = self.sit_down("Bo Quill", Role.STUDENT)
        self.other = self.sit_down("Cy Tansy", Role.STUDENT)

    def sit_down(self, name: str, *roles: Role) -> Any:
        account = self.desk.store.people.add(name, frozenset(roles))
        reader = self.app.test_client()
        reader.set_cookie(COOKIE, self.desk.store.sessions.begin(account.number), httponly=True)
        return reader

    def number_of(self, name: str) -> int:
        return self.desk.store.people.named(name).number

    def make(self, **changed: str) -> int:
        answer = self.instructor.post("/exercises/new", data=MADE | changed)
        if doubt := doubt_in(answer.text):
            answer = self.instructor.post("/exercises/new", data=MADE | changed | {"nonetheless": doubt})
        assert answer.status_code == 303, answer.text
        return int(answer.headers["Location"].rsplit("/", 1)[1])

    def hand_out(self, number: int, *names: str) -> None:
        accounts = [self.number_of(name) for name in names]
        answer = self.instructor.post(f"/exercises/{number}/assign", data={"account": accounts})
        assert answer.status_code == 303, answer.text

    def measure(self, number: int) -> None:
        """Begin the sender check and let the simulated hands do what its cards ask."""
        answer = self.student.post(f"/exercise/{number}/begin", data={"station": "bench-1"})
        assert answer.status_code == 303, answer.text
        state = self.desk.exercises.get(number).state
        self.desk.let_hands_finish(state.attempts[self.number_of("Bo Quill")].run, bench=self.bench)
        self.bench.say()


def doubt_in(page: str) -> str:
    """What an instructor would have to accept; empty where there is nothing of it."""
    found = re.search(r'name="nonetheless" value="([^"]*)"', page)
    return "" if found is None else html.unescape(found[1])


@pytest.fixture
def room(desk: Any) -> Class:
    return Class(desk)


def test_an_exercise_goes_from_making_it_to_marks_and_a_table_of_them(room):
    number = room.make()
    room.hand_out(number, "Bo Quill")
    assert "to do" in room.student.get("/exercise").text
    assert "No station is free" in room.student.get(f"/exercise/{number}").text
    assert room.instructor.post(f"/exercises/{number}/plant", data={"station": "bench-1"}).status_code == 303
    assert "bench-1: planted" in " ".join(room.instructor.get(f"/exercises/{number}").text.split())

    room.measure(number)
    page = room.student.get(f"/exercise/{number}").text
    assert "What was read" in page and "Your answer" in page and "Cannot tell" not in page
    # 40 Ω in series with 290 Ω at 85 °C, at -13 K per ln R: the sender reads some 4 K low when hot.
    errors = [float(text) for text in re.findall(r"<td>−(\d\.\d+)</td>", page)]
    assert len(errors) == 3 and 3.5 < errors[-1] < 5.5
    assert room.bench._insertion.value == "none"  # what was planted is gone with the run
    assert room.desk.store.certificates.all() == [] and room.desk.store.drafts.waiting() == []

    sure = room.student.post(f"/exercise/{number}/answer", data=ANSWER)
    assert sure.status_code == 200 and "This is my answer" in sure.text
    assert room.student.post(f"/exercise/{number}/answer", data=ANSWER | {"sure": "yes"}).status_code == 303
    page = room.student.get(f"/exercise/{number}").text
    assert "60 of 100 so far" in page  # named, and 12 Ω off where 8 are tolerated and 16 earn half
    assert "Half credit" in page and "40 Ω" in page and "What the desk makes of your readings" in page
    # Once: what comes later changes nothing.
    again = room.student.post(f"/exercise/{number}/answer", data=ANSWER | {"size": "40", "sure": "yes"})
    assert again.status_code == 303 and "60 of 100 so far" in room.student.get(f"/exercise/{number}").text

    account = room.number_of("Bo Quill")
    marked = {"share": "0.75", "words": "Say also what it does when cold."}
    assert room.instructor.post(f"/exercises/{number}/mark/{account}", data=marked).status_code == 303
    page = room.student.get(f"/exercise/{number}").text
    assert "75 of 100" in page and "Say also what it does when cold." in page
    table = room.instructor.get(f"/exercises/{number}/marks.csv")
    (row,) = csv.DictReader(io.StringIO(table.text.removeprefix("\ufeff")))
    assert (row["student"], row["answered_size"], row["total"], row["marked"]) == (
        "Bo Quill", "52.0", "75.0", "yes",
    )  # fmt: skip
    deeds = [entry.deed for entry in room.desk.store.audit.newest(20)]
    assert "answered an exercise" in deeds and "worked on an exercise" in deeds


def test_what_was_planted_shows_on_a_press_alone_and_that_is_written_down(room):
    number = room.make()
    page = room.instructor.get(f"/exercises/{number}").text
    # The key of a form is drawn and may hold any digits.
    hidden = re.sub(r'value="[0-9a-f]{64}"', "", page.split("<main")[1])
    assert "corroded" not in page and "40" not in hidden
    shown = room.instructor.post(f"/exercises/{number}/show")
    assert "Resistance in series: a corroded terminal or a bad joint, 40 Ω" in shown.text
    (entry,) = room.desk.store.audit.newest(1)
    assert (entry.deed, entry.subject) == ("looked at what was planted", f"exercise {number:04d}")
    assert "corroded" not in room.instructor.get(f"/exercises/{number}").text


def test_a_planting_that_fails_is_said_and_the_station_stays_closed(room):
    room.bench.simulated = False
    room.bench.read(4)
    number = room.make(way="by_name")
    room.hand_out(number, "Bo Quill")
    room.instructor.post(f"/exercises/{number}/plant", data={"station": "bench-1"})
    page = " ".join(room.instructor.get(f"/exercises/{number}").text.split())
    assert "not planted." in page and "bench-1 is a real bench" in page
    refused = room.student.post(f"/exercise/{number}/begin", data={"station": "bench-1"})
    assert refused.status_code == 422 and "not open at bench-1" in refused.text


def test_an_exercise_goes_to_students_alone_and_nobody_opens_anothers(room):
    number = room.make()
    instructor = room.number_of("Ida Marsh")
    refused = room.instructor.post(f"/exercises/{number}/assign", data={"account": [instructor]})
    assert refused.status_code == 422 and "a student and nothing else" in refused.text
    room.hand_out(number, "Bo Quill")
    for address in (f"/exercise/{number}", f"/exercise/{number}/card", f"/exercise/{number}/live"):
        assert room.other.get(address).status_code == 404
    for deed in ("begin", "press", "hands", "stop", "answer"):
        assert room.other.post(f"/exercise/{number}/{deed}", data=ANSWER).status_code == 404
    assert room.student.get("/exercises").status_code == 403


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"title": ""}, "Write the title"),
        ({"curve": "find-out"}, "Choose"),
        ({"size": "0"}, "The size of this fault goes from"),
        ({"size": "22.5"}, "The decade box goes in steps of"),
        ({"fault": "beta", "size": "4"}, "can stand in for"),
        ({"reasoning": "30"}, "sum to 100"),
        ({"tolerance_percent": "no"}, "from 1 to 100"),
        ({"fault": "stem_or_thermometer", "size": "3"}, "no bench plants it"),
        ({"way": "on_paper", "readings": "30"}, "Row 1"),
    ],
)
def test_an_exercise_that_cannot_be_is_refused_beside_its_field(room, changed, words):
    answer = room.instructor.post("/exercises/new", data=MADE | changed)
    assert answer.status_code == 422 and words in answer.text
    assert room.desk.exercises.all() == []


def test_a_fault_that_the_desk_would_not_find_is_made_only_once_that_was_read(room):
    """40 Ω in series at 30, 60 and 85 °C, on a curve that is printed as limits."""
    asked = room.instructor.post("/exercises/new", data=MADE)
    doubt = doubt_in(asked.text)
    assert asked.status_code == 422 and "would not name this fault of 40 Ω: it could not tell" in doubt
    from_ohm = float(re.search(r"from about (\S+) Ω on", doubt)[1])
    assert 52.0 < from_ohm < 416.0
    # What was accepted was 40 Ω; another size is asked about anew.
    other = room.instructor.post("/exercises/new", data=MADE | {"size": "10", "nonetheless": doubt})
    assert other.status_code == 422 and "of 10 Ω" in doubt_in(other.text)
    assert room.desk.exercises.all() == []
    found = room.instructor.post("/exercises/new", data=MADE | {"size": f"{from_ohm:g}"})
    assert found.status_code == 303
    number = room.make()
    assert room.desk.exercises.get(number).state.made.doubt == doubt
    assert "would not name" not in room.instructor.get(f"/exercises/{number}").text
    assert "You made it nonetheless" in room.instructor.post(f"/exercises/{number}/show").text


def test_an_answer_wants_a_fault_its_size_and_a_sentence(room):
    number = room.make(way="on_paper")
    room.hand_out(number, "Bo Quill")
    for missing, words in (
        ({"fault": ""}, "Choose what is wrong"),
        ({"size": ""}, "how large this fault is"),
        ({"size": "some"}, "Write a number"),
        ({"unit": ""}, "Choose the unit"),
        ({"unit": "%"}, "told in Ω, not in %"),
        ({"size": "1_0"}, "Write a number"),
        ({"size": "٢٢"}, "Write a number"),
        ({"size": "２２"}, "Write a number"),
        ({"sentence": " "}, "what makes you think so"),
    ):
        answer = room.student.post(f"/exercise/{number}/answer", data=ANSWER | missing | {"sure": "yes"})
        assert answer.status_code == 422 and words in answer.text
    assert room.desk.exercises.get(number).state.attempts[room.number_of("Bo Quill")].answer is None


def test_who_thinks_again_finds_the_form_as_it_was_filled_in(room):
    number = room.make(way="on_paper")
    room.hand_out(number, "Bo Quill")
    sure = room.student.post(f"/exercise/{number}/answer", data=ANSWER).text
    kept = dict(re.findall(r'<input type="hidden" name="(fault|size|unit|sentence)" value="([^"]*)"', sure))
    assert kept == ANSWER and 'name="again"' in sure
    again = room.student.post(f"/exercise/{number}/answer", data=kept | {"again": "yes"})
    assert again.status_code == 200
    assert 'value="series" checked' in again.text and 'value="52"' in again.text
    assert "<option selected>Ω</option>" in again.text and ANSWER["sentence"] in again.text
    assert room.desk.exercises.get(number).state.attempts[room.number_of("Bo Quill")].answer is None


def test_a_table_of_marks_has_group_and_time_and_no_mark_that_turns_the_writing(room):
    number = room.make(way="on_paper")
    room.hand_out(number, "Bo Quill", "Cy Tansy")
    room.desk.store.people.take_students([NewStudent(name="Bo Quill", group="2B", password_hash=None)])
    room.desk.store.settings.change({"time_zone": "Etc/GMT-2"})
    turned = ANSWER | {"sentence": "It reads \u202elow\u202c when hot.", "sure": "yes"}
    room.student.post(f"/exercise/{number}/answer", data=turned)
    table = room.instructor.get(f"/exercises/{number}/marks.csv").text.removeprefix("\ufeff")
    answered, other = csv.DictReader(io.StringIO(table))
    assert (answered["group"], answered["sentence"]) == ("2B", "It reads low when hot.")
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}\+02:00", answered["answered"])
    (event,) = [one for one in room.desk.store.runs.timed_events(number) if one.kind == "answered"]
    answered_utc_s = datetime.fromisoformat(answered["answered"]).timestamp()
    assert answered_utc_s == pytest.approx(event.appended_utc_s, abs=0.001)
    assert (other["group"], other["answered"], other["sentence"]) == ("", "", "")


def test_an_exercise_on_paper_is_judged_and_answered_without_a_bench(room):
    number = room.make(way="on_paper", size="104", curve="ntc-2k5-20c", limit_k="2")
    room.hand_out(number, "Bo Quill")
    page = room.student.get(f"/exercise/{number}").text
    assert "What was read" in page and "Begin the sender check" not in page
    room.student.post(f"/exercise/{number}/answer", data=ANSWER | {"size": "104", "sure": "yes"})
    page = room.student.get(f"/exercise/{number}").text
    assert "80 of 100 so far" in page and "104 Ω" in page


@pytest.mark.parametrize(
    ("fault", "size", "cells"),
    [
        ("open", "", ["OL", "OL", "OL"]),
        ("short", "", ["0", "0", "0"]),
        ("intermittent", "30", ["not steady: 1691 Ω, then OL", "not steady: 594 Ω, then OL"]),
        ("another_curve", "10", ["8123", "2624", "1106"]),
    ],
)
def test_every_fault_has_a_table_on_paper_with_the_words_of_a_meter(room, fault, size, cells):
    """Ohms by hand: 1691 and 594 Ω are the middles of the limits at 30 and 60 °C; 10 kΩ, 8 % steeper."""
    number = room.make(way="on_paper", fault=fault, size=size)
    room.hand_out(number, "Bo Quill")
    page = room.student.get(f"/exercise/{number}").text
    read = [re.sub("<[^>]*>", "", cell) for cell in re.findall(r"<td>(.*?)</td>", page)]
    assert [cell for cell in read if cell in cells] == cells
    given = ANSWER | {"fault": fault, "size": "", "unit": "", "sure": "yes"}
    assert room.student.post(f"/exercise/{number}/answer", data=given).status_code == 303
    page = room.student.get(f"/exercise/{number}").text
    assert "80 of 100 so far" in page and "Most likely" in page
    assert all(cell in room.instructor.get(f"/exercises/{number}").text for cell in cells)


def test_a_student_begins_again_after_stopping_and_a_closed_exercise_takes_nothing(room):
    number = room.make()
    room.hand_out(number, "Bo Quill")
    room.instructor.post(f"/exercises/{number}/plant", data={"station": "bench-1"})
    room.student.post(f"/exercise/{number}/begin", data={"station": "bench-1"})
    assert room.student.post(f"/exercise/{number}/begin", data={"station": "bench-1"}).status_code == 303
    assert room.desk.runs.open_run_of("bench-1") is not None
    assert "Hang the sender" in room.student.get(f"/exercise/{number}/card").text
    room.student.post(f"/exercise/{number}/press", data={"step": "1"})
    assert "until the water stands above its hex" in room.student.get(f"/exercise/{number}").text
    room.student.post(f"/exercise/{number}/stop")
    page = room.student.get(f"/exercise/{number}").text
    assert "Begin again" in page and "Your answer" not in page  # what was stopped by hand told nothing
    room.instructor.post(f"/exercises/{number}/close")
    page = room.student.get(f"/exercise/{number}").text
    assert "This exercise is closed" in page and "Begin again" not in page


def planted_room(room: Class) -> int:
    """An exercise by relay, handed out and planted at the one bench."""
    number = room.make()
    room.hand_out(number, "Bo Quill")
    assert room.instructor.post(f"/exercises/{number}/plant", data={"station": "bench-1"}).status_code == 303
    room.bench.read(4)
    return number


def test_closing_takes_the_box_out_of_a_bench_at_which_nobody_began(room):
    number = planted_room(room)
    assert room.bench._insertion.value == "series"
    room.instructor.post(f"/exercises/{number}/close")
    assert room.bench._insertion.value == "none"


def test_closing_leaves_a_bench_alone_that_another_exercise_or_run_is_at(room):
    first, second = planted_room(room), planted_room(room)
    room.instructor.post(f"/exercises/{first}/close")
    assert room.bench._insertion.value == "series"
    room.desk.runs.start_sender_check(
        station="bench-1", item="S", curve="ntc-310-80c", set_points_c=(30.0, 60.0, 85.0)
    )
    room.instructor.post(f"/exercises/{second}/close")
    assert room.bench._insertion.value == "series"  # its own run takes it out as a step of its own


def test_closing_stops_a_check_that_goes_on_and_tells_its_student(room):
    number = planted_room(room)
    room.student.post(f"/exercise/{number}/begin", data={"station": "bench-1"})
    room.instructor.post(f"/exercises/{number}/close")
    assert room.desk.runs.open_run_of("bench-1") is None and room.bench._insertion.value == "none"
    page = room.student.get(f"/exercise/{number}").text
    assert "This exercise is closed" in page and "closed while this check went on" in page
    assert "Your answer" not in page and "Begin" not in page.split("<main")[1]
    assert ">stopped<" in room.instructor.get(f"/exercises/{number}").text


def test_a_station_page_says_that_the_box_is_in_the_circuit_and_shows_a_plant_on_a_press_alone(room):
    number = planted_room(room)
    page = room.instructor.get("/stations/bench-1").text
    before, pressed = page.split("Where the decade box stands")
    assert f"exercise {number:04d}" in before and "in series" not in before
    assert "The decade box is in series with the sender, set to 40 Ω, by the newest reading" in pressed
    # A rig that refuses leaves the box where it is, and it is seen.
    room.bench.refuses = lambda do, fields: "the relays are locked"
    room.instructor.post(f"/exercises/{number}/close")
    page = room.instructor.get("/stations/bench-1").text
    assert "The decade box is in series with the sender, set to 40 Ω: what you read" in page
    room.bench._insertion = Insertion.NONE
    room.bench.read(4)
    assert "decade box is in series" not in room.instructor.get("/stations/bench-1").text


def test_what_is_planted_stays_so_where_planting_again_is_refused(room):
    number = planted_room(room)
    room.student.post(f"/exercise/{number}/begin", data={"station": "bench-1"})
    refused = room.instructor.post(f"/exercises/{number}/plant", data={"station": "bench-1"})
    assert refused.status_code == 422 and "is busy with run" in refused.text
    assert "stays there" in refused.text
    assert room.desk.exercises.get(number).state.open_stations == ("bench-1",)


def test_silent_stations_are_said_so_at_once_and_hold_up_no_other(room, monkeypatch):
    """Three benches of which two answer nothing: one by the desk's own clock, one only to orders."""
    monkeypatch.setattr("host.classroom.exercises._ANSWERS_WITHIN_S", 0.5)
    deaf, late, silent = (room.desk.add_bench(name) for name in ("bench-2", "bench-3", "bench-4"))
    monkeypatch.setattr(deaf, "obey", lambda topic, payload: None)
    monkeypatch.setattr(late, "obey", lambda topic, payload: None)
    silent.say()
    silent.read(4)
    room.desk.let_wall_time_pass(60.0)
    for bench in (room.bench, deaf, late):
        bench.say()
        bench.read(4)
    number = room.make()
    names = ["bench-1", "bench-2", "bench-3", "bench-4"]
    sent = []
    send = room.desk.book.send
    monkeypatch.setattr(room.desk.book, "send", lambda **given: sent.append(given) or send(**given))
    room.instructor.post(f"/exercises/{number}/plant", data={"station": names})
    state = room.desk.exercises.get(number).state
    assert state.open_stations == ("bench-1",)
    assert "gave no answer" in state.planted_at["bench-2"] and "gave no answer" in state.planted_at["bench-3"]
    assert "bench-4 is silent for 60 s" in state.planted_at["bench-4"]
    stations = [given["station"] for given in sent]
    assert "bench-4" not in stations
    # Both deaf ones had their first order before either was given up.
    assert (stations.count("bench-2"), stations.count("bench-3")) == (1, 1)


def test_an_exercise_may_go_by_one_heating_with_rests_with_the_box_in_series_all_the_way(room):
    """40 Ω in series with 290 Ω at 85 °C, at -13 K per ln R, whichever way the bath goes."""
    number = room.make(course="loop")
    room.hand_out(number, "Bo Quill")
    room.instructor.post(f"/exercises/{number}/plant", data={"station": "bench-1"})
    room.measure(number)
    attempt = room.desk.exercises.get(number).state.attempts[room.number_of("Bo Quill")]
    state = room.desk.runs.view(attempt.run).state
    assert (state.started.course, state.phase.value) == ("loop", "done"), state.reason
    page = room.student.get(f"/exercise/{number}").text
    errors = [float(text) for text in re.findall(r"<td>−(\d\.\d+)</td>", page)]
    assert len(errors) == 3 and 3.5 < errors[-1] < 5.5 and "Your answer" in page
    assert room.instructor.post("/exercises/new", data=MADE | {"course": "boil"}).status_code == 422


def test_a_desk_without_accounts_says_so_before_anything_is_typed(desk):
    nobody = create_app(desk).test_client()
    for address in ("/exercises", "/exercises/new"):
        page = nobody.get(address)
        assert page.status_code == 200
        assert "this desk has no accounts" in page.text and '<a href="/people">' in page.text
        assert "ohmbath person add" in page.text
        assert 'href="/exercises/new"' not in page.text and 'name="title"' not in page.text


@pytest.mark.parametrize("scale", ["c", "f"])
def test_the_form_as_it_opens_makes_an_exercise_that_the_desk_would_solve(room, scale):
    page = room.instructor.get(f"/exercises/new?scale={scale}").text
    filled = {
        name: re.search(rf'name="{name}"[^>]*value="([^"]*)"', page)[1]
        for name in (
            "question",
            "set_points",
            "size",
            "tolerance_percent",
            "naming",
            "size_credit",
            "reasoning",
        )
    }
    chosen = {
        name: re.search(rf'<select id="{name}".*?<option value="([^"]*)" selected', page, re.DOTALL)[1]
        for name in ("curve", "fault")
    }
    assert chosen["curve"] == "ntc-310-80c", "what the simulated sender is meant to follow"
    way = re.search(r'name="way" value="([^"]*)" checked', page)[1]
    sent = {"title": "The blue estate", "scale": scale, "way": way, **filled, **chosen}
    answer = room.instructor.post("/exercises/new", data=sent)
    assert answer.status_code == 303, answer.text
