import pytest

from host.contact_reference import read_by_hand
from host.errors import DeskError

CERTIFIED = {
    "serial": "C-5",
    "resolution_k": 0.1,
    "accuracy_k": 1.0,
    "k": 2.0,
    "point": [
        {"shown_c": 30.0, "correction_k": 0.2, "expanded_u_k": 0.2},
        {"shown_c": 90.0, "correction_k": -0.4, "expanded_u_k": 0.2},
    ],
}


def test_a_contact_thermometer_is_corrected_by_its_certificate():
    read = read_by_hand(60.0, CERTIFIED)
    assert read.temperature_c == pytest.approx(59.9)
    assert "corrected by -0.10 K" in read.words


@pytest.mark.parametrize("shown_c", [29.9, 90.1])
def test_nothing_is_calibrated_by_a_reference_outside_of_its_certificate(shown_c):
    """ISO/IEC 17025, 6.5: a result is traceable by calibrated references, and there it is not."""
    with pytest.raises(DeskError, match=r"C-5 is certified from 30.0 to 90.0 °C"):
        read_by_hand(shown_c, CERTIFIED)


def test_one_that_was_never_certified_counts_by_its_makers_word():
    read = read_by_hand(60.0, {"serial": "C-6", "resolution_k": 0.1, "accuracy_k": 1.0})
    assert read.temperature_c == 60.0 and "maker's word" in read.words
