import pytest
from hypothesis import given
from hypothesis import strategies as some

from host.classroom.exercise import Answer, Credits, ExerciseSettings, SentenceMark
from host.classroom.marking import marks_of, truth_words

SERIES = ExerciseSettings(
    title="T", question="Q", curve="ntc-310-80c", fault="series", size=22.0, tolerance_percent=20.0
)


def credit_of(answer: Answer, settings: ExerciseSettings = SERIES) -> tuple[float | None, ...]:
    return tuple(line.credit for line in marks_of(settings, answer, None).lines)


@pytest.mark.parametrize(
    ("size", "unit", "credit"),
    [
        (22.0, "Ω", 40.0),
        (26.4, "Ω", 40.0),  # 20 % off: just within
        (17.6, "Ω", 40.0),
        (0.0264, "kΩ", 40.0),
        (26.5, "Ω", 20.0),
        (30.8, "Ω", 20.0),  # 40 % off: just within twice
        (30.9, "Ω", 0.0),
        (-22.0, "Ω", 0.0),
        (22.0, "%", 0.0),
        (None, "", 0.0),
    ],
)
def test_a_size_earns_all_within_the_tolerance_half_within_twice_and_nothing_beyond(size, unit, credit):
    assert credit_of(Answer(fault="series", size=size, unit=unit))[:2] == (40.0, credit)


def test_a_size_off_by_just_the_tolerance_earns_all():
    settings = ExerciseSettings(
        title="T", question="Q", curve="ntc-310-80c", fault="series", size=20.0, tolerance_percent=10.0
    )
    assert credit_of(Answer(fault="series", size=22.0, unit="Ω"), settings)[1] == 40.0
    assert credit_of(Answer(fault="series", size=24.0, unit="Ω"), settings)[1] == 20.0


def test_another_fault_earns_nothing_for_its_size_and_the_words_say_what_it_was():
    marks = marks_of(SERIES, Answer(fault="leakage", size=22.0, unit="Ω"), None)
    assert [line.credit for line in marks.lines] == [0.0, 0.0, None]
    assert "resistance in series" in marks.lines[0].words
    assert not marks.is_whole


def test_half_credit_is_said_with_both_sizes_and_the_tolerance():
    words = marks_of(SERIES, Answer(fault="series", size=28.0, unit="Ω"), None).lines[1].words
    assert words == (
        "28 Ω against 22 Ω: off by 6 Ω, and the tolerance is 4.4 Ω; within twice that. Half credit."
    )


def test_a_fault_without_a_size_earns_its_size_with_its_name():
    healthy = ExerciseSettings(title="T", question="Q", curve="ntc-310-80c", fault="healthy")
    assert credit_of(Answer(fault="healthy"), healthy) == (40.0, 40.0, None)
    assert credit_of(Answer(fault="series", size=2.0, unit="Ω"), healthy) == (0.0, 0.0, None)
    assert truth_words(healthy) == "Nothing is wrong with the sender"


def test_a_share_that_is_too_low_is_marked_with_its_sign():
    low = ExerciseSettings(title="T", question="Q", curve="ntc-310-80c", fault="r25", size=-10.0)
    assert credit_of(Answer(fault="r25", size=-9.0, unit="%"), low)[1] == 40.0
    assert credit_of(Answer(fault="r25", size=9.0, unit="%"), low)[1] == 0.0


def test_the_sentence_earns_its_share_and_then_the_marks_are_whole():
    mark = SentenceMark(share=0.75, words="Good, but why when hot?", by="Ida Marsh")
    marks = marks_of(SERIES, Answer(fault="series", size=22.0, unit="Ω", sentence="…"), mark)
    assert (marks.total, marks.is_whole) == (95.0, True)
    assert marks.lines[2].words == "Good, but why when hot?"


def test_no_credit_on_the_sentence_needs_no_marking():
    settings = ExerciseSettings(
        title="T", question="Q", curve="c", credits=Credits(naming=60, size=40, reasoning=0)
    )
    assert marks_of(settings, Answer(fault="healthy"), None).is_whole


@given(
    size=some.floats(0.1, 1e4),
    answered=some.floats(-1e5, 1e5),
    nearer=some.floats(0.0, 1.0),
    tolerance=some.floats(1.0, 100.0),
)
def test_a_nearer_answer_never_earns_less(size, answered, nearer, tolerance):
    settings = ExerciseSettings(
        title="T", question="Q", curve="c", fault="series", size=size, tolerance_percent=tolerance
    )
    closer = size + (answered - size) * nearer
    far = credit_of(Answer(fault="series", size=answered, unit="Ω"), settings)[1]
    near = credit_of(Answer(fault="series", size=closer, unit="Ω"), settings)[1]
    assert near >= far
