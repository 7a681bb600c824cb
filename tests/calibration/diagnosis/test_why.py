import pytest

from calibration.curves import load_curve
from calibration.diagnosis import attribute, opinions_of, why_words

CURVE = load_curve("ntc-2k5-20c")
# The 2.5 kΩ part's printed rows at 20, 60 and 90 °C.
GOOD = ((20, 2500.0), (60, 596.0), (90, 243.0))


def with_series(ohm):
    return [(t, r + ohm) for t, r in GOOD]


def said(hand, library, rows):
    return " ".join(why_words(attribute(hand(rows), CURVE, library=library), CURVE))


def test_a_named_fault_comes_with_its_size_probability_and_next_step(hand, library):
    words = said(hand, library, with_series(104.0))
    assert words.startswith("Most likely resistance in series")
    assert float(words.split("about ")[1].split(" Ω")[0]) == pytest.approx(104.0, abs=3.0)
    assert "over 99 %" in words
    assert "Next: Clean the terminals" in words


def test_cannot_tell_lists_what_it_may_be_and_what_would_decide(hand, library):
    words = said(hand, library, with_series(26.0))
    assert words.startswith("Cannot tell. It may be resistance in series")
    assert "beta" in words
    assert "a series resistance goes, an aged element stays" in words


def test_a_good_sender_is_no_opinion_and_no_fault(hand, library):
    assert "No fault is to be named" in said(hand, library, GOOD)
    assert opinions_of(attribute(hand(GOOD), CURVE, library=library), CURVE) == ()


def test_another_curve_is_named_by_its_name(hand, library):
    # Saab's printed rows at 20 and 100 °C (tests/calibration/published/senders.toml).
    assert "ntc-3k55-20c" in said(hand, library, [(20, 3550.0), (100, 180.0)])


@pytest.mark.parametrize("ohm", [0.0, 14.0, 26.0, 104.0])
def test_no_probability_is_said_to_be_certain(hand, library, ohm):
    assert "100 %" not in said(hand, library, with_series(ohm))
