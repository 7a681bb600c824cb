"""The in-place comparison: who disagrees, by how much, and when nobody can tell."""

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.vehicle.in_place import (
    GAUGE_K,
    HEAD_COLDER_K,
    InPlaceError,
    InPlaceReading,
    Thermostat,
    Where,
    compare_in_place,
)

USUAL_U_K = {
    Where.SCAN_DATA: 2.0, Where.GAUGE: 3.0, Where.HEAD: 2.0, Where.OUTLET_HOSE: 2.0, Where.RETURN_HOSE: 2.0,
}  # fmt: skip


def compare(temperatures_c: dict[Where, float], thermostat: Thermostat = Thermostat.FULLY_OPEN):
    readings = [
        InPlaceReading(where=where, temperature_c=t, expanded_u_k=USUAL_U_K[where])
        for where, t in temperatures_c.items()
    ]
    return compare_in_place(readings, thermostat=thermostat)


WARM = {
    Where.SCAN_DATA: 90.0,
    Where.GAUGE: 91.0,
    Where.HEAD: 88.0,
    Where.OUTLET_HOSE: 85.0,
    Where.RETURN_HOSE: 72.0,
}


def test_a_warm_engine_with_true_readings_agrees() -> None:
    found = compare(WARM)
    assert (found.disagreements, found.odd_one, found.off_by_k) == ((), None, None)
    assert found.words == "The readings agree."


@pytest.mark.parametrize(
    ("where", "reads_c", "off_by_k"),
    [
        # Worked by hand from the assumed widths: the head allows 88 to 93 °C, the outlet hose 85 to 97 °C.
        (Where.SCAN_DATA, 110.0, 110.0 - 93.0),
        (Where.SCAN_DATA, 70.0, 70.0 - 88.0),
        (Where.GAUGE, 110.0, (110.0 - 5.0) - 90.0),
        (Where.HEAD, 70.0, -(90.0 - 75.0)),
        (Where.HEAD, 104.0, 104.0 - 90.0),
    ],
)
def test_the_reading_that_stands_alone_is_named_with_its_gap(
    where: Where, reads_c: float, off_by_k: float
) -> None:
    found = compare({**WARM, where: reads_c})
    assert found.odd_one is where
    assert found.off_by_k == pytest.approx(off_by_k)
    assert ("too high" if off_by_k > 0 else "too low") in found.words
    assert str(where) in found.words
    assert found.next_action


def test_a_cold_return_hose_is_no_disagreement() -> None:
    assert compare({**WARM, Where.RETURN_HOSE: 20.0}).disagreements == ()


def test_a_return_hose_hotter_than_the_outlet_hose_is_one_of_the_two() -> None:
    found = compare({**WARM, Where.OUTLET_HOSE: 80.0, Where.RETURN_HOSE: 86.0})
    assert [(one.high, one.low) for one in found.disagreements] == [(Where.RETURN_HOSE, Where.OUTLET_HOSE)]
    assert found.disagreements[0].gap_k == pytest.approx(6.0)
    assert found.disagreements[0].expanded_u_k == pytest.approx(math.hypot(2.0, 2.0))
    assert set(found.suspects) == {Where.OUTLET_HOSE, Where.RETURN_HOSE}
    assert "Cannot tell" in found.words


def test_a_cold_outlet_hose_means_nothing_until_the_thermostat_is_fully_open() -> None:
    cold_hose = {**WARM, Where.OUTLET_HOSE: 45.0, Where.RETURN_HOSE: 30.0}
    assert compare(cold_hose, Thermostat.NOT_FULLY_OPEN).disagreements == ()
    assert compare(cold_hose, Thermostat.UNKNOWN).disagreements == ()
    assert compare(cold_hose, Thermostat.FULLY_OPEN).odd_one is Where.OUTLET_HOSE


def test_until_then_the_outlet_hose_is_below_the_head() -> None:
    hot_hose = {Where.HEAD: 80.0, Where.OUTLET_HOSE: 84.0, Where.SCAN_DATA: 84.0}
    closed = compare(hot_hose, Thermostat.NOT_FULLY_OPEN)
    assert [(one.high, one.low) for one in closed.disagreements] == [(Where.OUTLET_HOSE, Where.HEAD)]
    assert compare(hot_hose, Thermostat.FULLY_OPEN).disagreements == ()


def test_two_readings_that_disagree_cannot_tell_which() -> None:
    found = compare({Where.SCAN_DATA: 110.0, Where.HEAD: 85.0})
    assert found.odd_one is None
    assert set(found.suspects) == {Where.SCAN_DATA, Where.HEAD}
    assert "Cannot tell" in found.words
    assert "tape" in found.next_action


def test_without_the_head_the_fair_comparison_is_what_to_do_next() -> None:
    agree = compare({Where.SCAN_DATA: 90.0, Where.GAUGE: 92.0})
    differ = compare({Where.SCAN_DATA: 90.0, Where.GAUGE: 115.0})
    assert "head beside the sensor" in agree.next_action
    assert "head beside the sensor" in differ.next_action


def test_several_wrong_readings_are_not_blamed_on_one() -> None:
    found = compare({Where.SCAN_DATA: 120.0, Where.GAUGE: 60.0, Where.HEAD: 90.0})
    assert found.odd_one is None
    assert found.suspects == ()
    assert "More than one" in found.words


@given(
    true_c=st.floats(40.0, 110.0),
    gauge_k=st.floats(-GAUGE_K, GAUGE_K),
    head_k=st.floats(0.0, HEAD_COLDER_K),
    outlet_k=st.floats(5.0, 12.0),
    return_k=st.floats(0.0, 40.0),
    shares=st.lists(st.floats(-0.7, 0.7), min_size=5, max_size=5),
)
def test_readings_within_what_they_may_be_off_never_disagree(
    true_c: float, gauge_k: float, head_k: float, outlet_k: float, return_k: float, shares: list[float]
) -> None:
    """0.7 of each U: two at once then stay within the root of their squares."""
    true = {
        Where.SCAN_DATA: true_c,
        Where.GAUGE: true_c + gauge_k,
        Where.HEAD: true_c - head_k,
        Where.OUTLET_HOSE: true_c - outlet_k,
        Where.RETURN_HOSE: true_c - outlet_k - return_k,
    }
    noisy = {
        where: t + share * USUAL_U_K[where] for (where, t), share in zip(true.items(), shares, strict=True)
    }
    assert compare(noisy).disagreements == ()


@given(order=st.permutations(list(WARM)))
def test_the_order_of_the_readings_changes_nothing(order: list[Where]) -> None:
    spoiled = {**WARM, Where.SCAN_DATA: 110.0}
    shuffled = compare({where: spoiled[where] for where in order})
    assert shuffled.odd_one is Where.SCAN_DATA
    assert shuffled.off_by_k == compare(spoiled).off_by_k


def test_readings_that_cannot_be_compared_are_refused() -> None:
    one = InPlaceReading(where=Where.HEAD, temperature_c=88.0, expanded_u_k=2.0)
    with pytest.raises(InPlaceError, match="alone"):
        compare_in_place([one], thermostat=Thermostat.UNKNOWN)
    with pytest.raises(InPlaceError, match="one reading of each kind"):
        compare_in_place([one, one], thermostat=Thermostat.UNKNOWN)
    with pytest.raises(InPlaceError, match="uncertainty above zero"):
        InPlaceReading(where=Where.HEAD, temperature_c=88.0, expanded_u_k=0.0)


def test_every_pair_that_may_disagree_has_its_rule_in_words() -> None:
    for high, low in itertools.permutations(Where, 2):
        found = compare({high: 140.0, low: 20.0}, Thermostat.FULLY_OPEN)
        for one in found.disagreements:
            assert one.rule
            assert one.gap_k > one.expanded_u_k
