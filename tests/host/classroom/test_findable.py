"""Whether an exercise can be solved: held against what the benchmark of attributions measured.

The figures of the benchmark (DEVELOPERS.md, 2.5 kΩ curve, seed 1) are of senders drawn with scatter, at 20,
60 and 90 °C by hand and at five temperatures on the bench; the search asks of the part in the middle alone.
"""

import math
import re

import pytest

from calibration.diagnosis import NAMED_FROM, Diagnosis, Fault, Finding
from calibration.diagnosis.fault import UNLISTED_PART
from host.classroom.exercise import ExerciseSettings, TypedPoint, Way
from host.classroom.findable import _larger_effects, _names, doubt_words, findable
from host.classroom.on_paper import readings_of_a_fault
from host.curve_choice import load_curve

HAND_C, BENCH_C = (20.0, 60.0, 90.0), (25.0, 45.0, 60.0, 80.0, 95.0)
CURVE = load_curve("ntc-2k5-20c")


def made(fault, size=1.0, *, way=Way.ON_PAPER, at_c=HAND_C, **more):
    return ExerciseSettings(
        title="T", question="Q", curve=CURVE.name, set_points_c=at_c, limit_k=2.0, fault=fault, size=size,
        way=way, **more,
    )  # fmt: skip


#: Named right in over nine of ten senders; and in under one of ten.
SURELY = [
    ("series", 104.0, Way.ON_PAPER), ("leakage", 12.0, Way.ON_PAPER), ("r25", -40.0, Way.ON_PAPER),
    ("beta", 6.8, Way.ON_PAPER), ("series", 5.2, Way.BY_BOX), ("leakage", 75.0, Way.BY_NAME),
    ("r25", 16.0, Way.BY_NAME), ("beta", 3.0, Way.BY_NAME),
]  # fmt: skip
HARDLY = [
    ("series", 26.0, Way.ON_PAPER), ("r25", 10.0, Way.ON_PAPER), ("series", 1.3, Way.BY_BOX),
    ("leakage", 300.0, Way.BY_NAME), ("beta", -0.75, Way.BY_NAME),
]  # fmt: skip


def on(way):
    return HAND_C if way is Way.ON_PAPER else BENCH_C


@pytest.mark.parametrize(("fault", "size", "way"), SURELY)
def test_what_the_benchmark_names_in_nine_of_ten_is_set_without_a_word(fault, size, way):
    assert doubt_words(made(fault, size, way=way, at_c=on(way)), CURVE) == ""


@pytest.mark.slow
@pytest.mark.parametrize(("fault", "size", "way"), HARDLY)
def test_what_it_names_in_one_of_ten_is_warned_of_and_the_size_that_is_told_is_found(fault, size, way):
    words = doubt_words(made(fault, size, way=way, at_c=on(way)), CURVE)
    assert "would not name this fault" in words
    from_size = float(re.search(r"from about (\S+) ", words)[1])
    assert findable(made(fault, from_size, way=way, at_c=on(way)), CURVE).is_found
    assert from_size * size > 0.0
    assert from_size < size if fault == "leakage" else abs(from_size) > abs(size)


@pytest.mark.parametrize("fault", ["healthy", "open", "short"])
@pytest.mark.parametrize("way", [Way.BY_NAME, Way.ON_PAPER])
def test_a_good_sender_and_a_dead_one_are_always_found(fault, way):
    assert doubt_words(made(fault, way=way, at_c=on(way)), CURVE) == ""


def test_a_loose_contact_at_a_bench_is_found_where_the_connector_is_moved():
    told = doubt_words(made("intermittent", 20.0, way=Way.BY_NAME), CURVE)
    assert told.endswith("A loose contact is found while the connector is moved: tick that.")
    assert doubt_words(made("intermittent", 20.0, way=Way.BY_NAME, move_connector=True), CURVE) == ""
    assert doubt_words(made("intermittent", 20.0), CURVE) == ""


def test_a_part_that_no_curve_of_the_library_runs_like_is_another_part_all_the_same():
    """On paper 10 kΩ, 8 % steeper, is near enough to one that is in it; on the bench it is none."""
    assert findable(made("another_curve", 10.0), CURVE).said.answer.variant == "ntc-10k-25c-b3977"
    assert findable(made("another_curve", 10.0, way=Way.BY_NAME, at_c=BENCH_C), CURVE).is_found


def test_a_typed_table_is_asked_as_it_is():
    good = readings_of_a_fault(CURVE, "healthy", 1.0, HAND_C)
    told = doubt_words(made("series", 200.0, readings=good), CURVE)
    assert "it would say a good sender" in told and "Ω on" not in told
    open_ = (TypedPoint(temperature_c=20.0, circuit="open"),)
    assert doubt_words(made("open", readings=open_), CURVE) == ""


def test_no_size_is_told_of_readings_that_were_typed():
    good = readings_of_a_fault(CURVE, "healthy", 1.0, HAND_C)
    assert findable(made("series", 1.0, readings=good), CURVE).from_size is None


def test_on_paper_no_connector_is_there_to_be_moved():
    good = readings_of_a_fault(CURVE, "healthy", 1.0, HAND_C)
    told = doubt_words(made("intermittent", 20.0, readings=good), CURVE)
    assert "would not name this fault" in told and "connector" not in told


@pytest.mark.slow
@pytest.mark.parametrize(("fault", "size", "way"), HARDLY[:2] + HARDLY[3:])
def test_the_size_that_is_told_is_the_nearest_preferred_number_that_is_found(fault, size, way):
    """The number of E12 (IEC 60063) before it, if it is beyond the size that was chosen, is not found."""
    one = made(fault, size, way=way, at_c=on(way))
    from_size = findable(one, CURVE).from_size
    e12 = [1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2]
    numbers = [number * 10.0**decade for decade in range(-2, 5) for number in e12]
    weaker = [n for n in numbers if (n > abs(from_size) if fault == "leakage" else n < abs(from_size))]
    before = math.copysign(min(weaker) if fault == "leakage" else max(weaker), size)
    if abs(before) < abs(size) if fault == "leakage" else abs(before) > abs(size):
        assert not findable(made(fault, before, way=way, at_c=on(way)), CURVE).is_found
    assert abs(from_size) < size if fault == "leakage" else abs(from_size) > abs(size)


@pytest.mark.parametrize(("size", "furthest"), [(-20.0, -47.0), (20.0, 100.0)])
def test_no_size_is_told_that_the_fault_cannot_have(size, furthest):
    """R25 may be planted from -50 to +100 % (host/classroom/nameable.py)."""
    tried = _larger_effects(made("r25", size))
    assert tried[0] == pytest.approx(math.copysign(22.0, size))
    assert tried[-1] == pytest.approx(furthest)


@pytest.mark.parametrize(("share", "is_named"), [(NAMED_FROM, True), (NAMED_FROM - 0.01, False)])
def test_a_part_that_is_in_no_list_is_found_from_the_share_from_which_any_fault_is_named(share, is_named):
    def finding(fault, probability, variant=""):
        return Finding(
            fault=fault, weight=0.0, probability=probability, size=None, size_u=None, unit="",
            variant=variant, next_action="",
        )  # fmt: skip

    said = Diagnosis(
        findings=(
            finding(Fault.CANNOT_TELL, 0.0),
            finding(Fault.ANOTHER_CURVE, share, UNLISTED_PART),
            finding(Fault.HEALTHY, 1.0 - share),
        ),
        by_hand=True,
    )
    assert _names(said, made("another_curve")) is is_named
