"""Answers and marks of one exercise, a student a row."""

from collections.abc import Iterator
from typing import Any

from host.classroom.exercise import Attempt
from host.classroom.exercises import Exercise
from host.classroom.marking import marks_of, truth_words
from host.tables.table import Column, Table

_COLUMNS = (
    Column(name="exercise"),
    Column(name="title"),
    Column(name="student"),
    Column(name="station"),
    Column(name="run"),
    Column(name="planted"),
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


def marks_table(exercise: Exercise) -> Table:
    """Table of an exercise; who has not answered has a row with nothing in it."""
    return Table(name="marks", columns=_COLUMNS, rows=_rows(exercise))


def _rows(exercise: Exercise) -> Iterator[list[Any]]:
    attempts = sorted(exercise.state.attempts.values(), key=lambda attempt: attempt.name.casefold())
    for attempt in attempts:
        yield [exercise.number, exercise.state.made.title, attempt.name, attempt.station, attempt.run,
               truth_words(exercise.state.made), *_answer(exercise, attempt)]  # fmt: skip


def _answer(exercise: Exercise, attempt: Attempt) -> list[Any]:
    answer = attempt.answer
    if answer is None:
        return [None] * 8 + [False]
    marks = marks_of(exercise.state.made, answer, attempt.mark)
    credit = [line.credit for line in marks.lines]
    return [answer.fault, answer.size, answer.unit, answer.sentence, *credit, marks.total, marks.is_whole]
