"""The pages of a class: every stage of an exercise on a phone and at a desk, roster and slips."""

from collections.abc import Iterator
from typing import Any

import pytest
from argon2 import PasswordHasher
from playwright.sync_api import expect

from host.classroom.exercise import ExerciseSettings, Way
from host.people.password import Passwords
from host.people.role import Role
from host.web.app import create_app
from host.web.server import PageServer
from host.web.visit import COOKIE

pytestmark = [pytest.mark.slow, pytest.mark.browser]

QUICK = Passwords(PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))


class Class:
    """A served desk with an exercise on paper and one at a bench, an instructor and a student."""

    def __init__(self, desk: Any) -> None:
        self.desk = desk
        self.bench = desk.add_bench()
        self.bench.say()
        self.bench.read(40)
        people = desk.store.people
        instructor = people.add("Ida Marsh", frozenset({Role.INSTRUCTOR}))
        self.student = people.add("Bo Quill", frozenset({Role.STUDENT}))
        self.tokens = {
            "instructor": desk.store.sessions.begin(instructor.number),
            "student": desk.store.sessions.begin(self.student.number),
        }
        asked = {"question": "What is wrong with this sender, and how much?", "made_by": "Ida Marsh"}
        self.number = desk.exercises.make(
            ExerciseSettings(
                title="The blue estate",
                curve="ntc-310-80c",
                fault="series",
                size=40.0,
                way=Way.BY_BOX,
                **asked,
            )
        )
        desk.exercises.assign(self.number, self.student)
        desk.exercises.plant(self.number, "bench-1")
        self.server = PageServer(create_app(desk, passwords=QUICK), port=0)
        self.server.start()

    def begin(self) -> int:
        return self.desk.exercises.begin(self.number, self.student.number, "bench-1")


@pytest.fixture
def room(desk: Any) -> Iterator[Class]:
    made = Class(desk)
    yield made
    made.server.stop()


def sit_down(room: Class, devices: Any, who: str, size: str) -> Any:
    device = devices(room.server.url, size)
    device.context.add_cookies([{"name": COOKIE, "value": room.tokens[who], "url": room.server.url}])
    return device


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_an_exercise_reads_well_from_its_list_to_its_marks(room, devices, size):
    student, instructor = (sit_down(room, devices, who, size) for who in ("student", "instructor"))
    student.look_at(student.open("/exercise"))
    page = student.open(f"/exercise/{room.number}")
    student.look_at(page)
    page.get_by_role("button", name="Begin the sender check").click()
    expect(page.get_by_role("heading", name="Hang the sender")).to_be_visible()
    room.bench.read(20)
    expect(page.get_by_text("is read from the heating on")).to_be_visible()
    student.look_at(page)
    run = room.desk.exercises.get(room.number).state.attempts[room.student.number].run
    room.desk.let_hands_finish(run, bench=room.bench)
    page.reload()
    expect(page.get_by_role("heading", name="Your answer")).to_be_visible()
    student.look_at(page)
    page.get_by_label("Resistance in series").check()
    page.get_by_label("How large").fill("38")
    page.get_by_label("Unit").select_option("Ω")
    page.get_by_label("Why, in one sentence").fill("The same ohms too many at each temperature.")
    page.get_by_role("button", name="Read it once more").click()
    student.look_at(page)
    page.get_by_role("button", name="Think again").click()
    expect(page.get_by_label("How large")).to_have_value("38")
    expect(page.get_by_label("Resistance in series")).to_be_checked()
    student.look_at(page)
    page.get_by_role("button", name="Read it once more").click()
    page.get_by_role("button", name="This is my answer").click()
    expect(page.get_by_text("80 of 100 so far")).to_be_visible()
    student.look_at(page)
    page = instructor.open(f"/exercises/{room.number}")
    expect(page.get_by_text("Hidden, as a class may read this screen.")).to_be_visible()
    instructor.look_at(page)
    page.get_by_role("button", name="Show what was planted").click()
    expect(page.get_by_text("a bad joint, 40 Ω")).to_be_visible()
    instructor.look_at(page)
    page.get_by_label("Of its 20").select_option("all of it")
    page.get_by_role("button", name="Give it").click()
    expect(page.get_by_text("marked, 100 of 100")).to_be_visible()
    instructor.look_at(instructor.open("/exercises"))
    instructor.look_at(instructor.open("/exercises/new"))
    assert student.wrong == instructor.wrong == []


def test_a_page_that_is_open_says_by_itself_that_its_exercise_was_closed(room, devices):
    student, instructor = (sit_down(room, devices, who, "phone") for who in ("student", "instructor"))
    page = instructor.open("/stations/bench-1")
    page.get_by_text("Where the decade box stands").click()
    expect(
        page.get_by_text("It is not in the circuit")
    ).to_be_visible()  # by a reading of before the planting
    instructor.look_at(page)
    room.begin()
    card = student.open(f"/exercise/{room.number}")
    expect(card.get_by_role("heading", name="Hang the sender")).to_be_visible()
    page = instructor.open(f"/exercises/{room.number}")
    page.get_by_role("button", name="Close the exercise").click()
    expect(card.get_by_text("This exercise is closed")).to_be_visible()
    expect(card.get_by_text("closed while this check went on")).to_be_visible()
    student.look_at(card)
    assert student.wrong == instructor.wrong == []


def test_a_class_comes_in_by_a_file_chosen_on_the_page(room, devices):
    instructor = sit_down(room, devices, "instructor", "desk")
    page = instructor.open("/roster")
    page.get_by_label("CSV file, UTF-8").set_input_files(
        {"name": "class.csv", "mimeType": "text/csv", "buffer": b"name,group\nCy Tansy,2B\nDee Rill,2B\n"}
    )
    page.get_by_role("button", name="Take the class in").click()
    expect(page.get_by_role("heading", name="2 new slips")).to_be_visible()
    instructor.look_at(page)
    assert instructor.wrong == []
