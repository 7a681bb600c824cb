"""The computer's input against Ohm's law and against voltages that service manuals print."""

import math
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.errors import FitError
from calibration.vehicle.computer_input import ComputerInput, ComputerInputError, input_from_rows

PRINTED = tomllib.loads(
    (Path(__file__).parents[1] / "published" / "computer_signals.toml").read_text(encoding="utf-8")
)


def test_signals_are_those_of_ohm_s_law() -> None:
    plain = ComputerInput(supply_v=5.0, pull_up_ohm=1000.0)
    assert plain.signal_v(1000.0) == pytest.approx(2.5)
    assert plain.signal_v(250.0) == pytest.approx(1.0)
    # 1 kΩ of sender beside 1 kΩ of load are 500 Ω: a third of 5 V.
    assert ComputerInput(supply_v=5.0, pull_up_ohm=1000.0, load_ohm=1000.0).signal_v(1000.0) == pytest.approx(
        5.0 / 3.0
    )
    assert 1000.0 * plain.excitation.current_a(250.0) == pytest.approx(4.0)


def limits_of(name: str) -> list[tuple[float, float]]:
    """Colder is more ohms and more volts: least goes with least."""
    return [
        pair
        for _, least_ohm, most_ohm, least_v, most_v in PRINTED[name]["rows"]
        for pair in ((least_ohm, least_v), (most_ohm, most_v))
    ]


def test_eight_printed_voltages_follow_from_one_pull_up_and_the_input_s_own_load() -> None:
    """Two numbers for eight; the document prints neither, so that only their agreement is checked."""
    computer, largest_v = input_from_rows(limits_of("QX55 2023"))
    assert largest_v < 0.02
    assert 900.0 < computer.pull_up_ohm < 1100.0
    assert 30_000.0 < computer.load_ohm < 70_000.0
    # Without a load the cold rows are a tenth of a volt off, far more than the hundredth they are printed to.
    _, without_load_v = input_from_rows(limits_of("QX55 2023"), with_load=False)
    assert without_load_v > 0.05


def test_voltages_of_the_sister_document_lie_between_those_of_its_resistance_limits() -> None:
    """Printed to a tenth of a volt. Its 0.9 V at 90 °C lie below what 236 to 260 Ω give, and are left out."""
    computer, _ = input_from_rows(limits_of("QX55 2023"))
    *colder, hottest = PRINTED["QX56 2005"]["rows"]
    for _, least_ohm, most_ohm, printed_v, _ in colder:
        assert computer.signal_v(least_ohm) - 0.05 <= printed_v <= computer.signal_v(most_ohm) + 0.05
    assert computer.signal_v(hottest[1]) == pytest.approx(hottest[3], abs=0.1)


def test_ohm_s_law_gives_the_pull_up_back_row_by_row_where_the_load_hardly_counts() -> None:
    """R (5 V / V - 1) for the hot rows: 236 Ω and 0.97 V give 980 Ω, 260 Ω and 1.04 V give 990 Ω."""
    computer, _ = input_from_rows(limits_of("QX55 2023"))
    for resistance_ohm, signal_v in limits_of("QX55 2023")[-2:]:
        by_hand_ohm = resistance_ohm * (5.0 / signal_v - 1.0)
        assert computer.pull_up_ohm == pytest.approx(by_hand_ohm, rel=0.03)


@given(
    resistance_ohm=st.floats(20.0, 100_000.0),
    pull_up_ohm=st.floats(200.0, 10_000.0),
    load_ohm=st.one_of(st.just(math.inf), st.floats(10_000.0, 1e6)),
)
def test_a_voltage_leads_back_to_its_resistance(
    resistance_ohm: float, pull_up_ohm: float, load_ohm: float
) -> None:
    computer = ComputerInput(supply_v=5.0, pull_up_ohm=pull_up_ohm, load_ohm=load_ohm)
    assert computer.resistance_ohm(computer.signal_v(resistance_ohm)) == pytest.approx(
        resistance_ohm, rel=1e-9
    )


@pytest.mark.parametrize("signal_v", [0.0, -0.1, 4.9, 5.0, 12.0])
def test_a_voltage_that_no_sender_gives_is_refused(signal_v: float) -> None:
    computer = ComputerInput(supply_v=5.0, pull_up_ohm=1000.0, load_ohm=40_000.0)
    with pytest.raises(ComputerInputError, match="open wire"):
        computer.resistance_ohm(signal_v)


def test_one_row_cannot_give_two_numbers() -> None:
    with pytest.raises(FitError):
        input_from_rows([(2500.0, 3.5)])
