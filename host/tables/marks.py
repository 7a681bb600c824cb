"""Answers and marks of one exercise, a student a row."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import tzinfo
from typing import Any

from host.classroom.exercise import Attempt, Kind
from host.classroom.exercises import Exercise
from host.classroom.marking import marks_of, truth_words
from host.store import Store
from host.tables.table import Column, Table, iso_time

_COLUMNS = (
    Column(name="exercise"),
    Column(name="title"),
    Column(name="student"),
    Column(name="group"),
    Column(name="station"),
    Column(name="run"),
    Column(name="planted"),
    Column(name="answered"),
    Column(name="answered_fault"),
    Column(name="answered_size"),
    Column(name="answered_unit"),
    Column(name="sentence"),
    Column(name="credit_fault"),
    Column(name="credit_size"),
    Column(name="credit_sentence"),
    Column(name="total"),
    Column(name="marked"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Class:
    """What a table of marks says of students beside their marks, by account.

    Attributes
    ----------
    groups : Mapping[int, str]
        As the roster has them now.
    answered_utc_s : Mapping[int, float]
        When each answered, by the desk's clock. [s]
    zone : tzinfo or None
        Of the shop; None is the machine's own.
    """

    groups: Mapping[int, str] = field(default_factory=dict)
    answered_utc_s: Mapping[int, float] = field(default_factory=dict)
    zone: tzinfo | None = None


def class_of(exercise: Exercise, store: Store, zone: tzinfo | None) -> Class:
    """Groups and times of answers of the students of an exercise."""
    return Class(
        groups={one.number: one.group for one in store.people.all()},
        answered_utc_s={
            int(event.payload["account"]): event.appended_utc_s
            for event in store.runs.timed_events(exercise.number)
            if event.kind == Kind.ANSWERED
        },
        zone=zone,
    )


def marks_table(exercise: Exercise, students: Class) -> Table:
    """Table of an exercise; who has not answered has a row with nothing in it."""
    return Table(name="marks", columns=_COLUMNS, rows=_rows(exercise, students))


def _rows(exercise: Exercise, students: Class) -> Iterator[list[Any]]:
    attempts = sorted(exercise.state.attempts.values(), key=lambda attempt: attempt.name.casefold())
    for attempt in attempts:
        group = students.groups.get(attempt.account)
        answered = iso_time(students.answered_utc_s.get(attempt.account), students.zone)
        yield [exercise.number, exercise.state.made.title, attempt.name, group, attempt.station, attempt.run,
               truth_words(exercise.state.made), answered, *_answer(exercise, attempt)]  # fmt: skip


def _answer(exercise: Exercise, attempt: Attempt) -> list[Any]:
    answer = attempt.answer
    if answer is None:
        return [None] * 8 + [False]
    marks = marks_of(exercise.state.made, answer, attempt.mark)
    credit = [line.credit for line in marks.lines]
    return [answer.fault, answer.size, answer.unit, answer.sentence, *credit, marks.total, marks.is_whole]
