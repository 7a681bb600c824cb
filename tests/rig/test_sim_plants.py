"""Faults by name: read from text, refused in words, and doing what their unit says."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.errors import PlantError
from rig.sim.plants import PLANTS, Effects, effects_of, parse_plant
from rig.sim.thermistor_law import load_laws

SENDER_LAW, _ = load_laws()
LAW = SENDER_LAW.law


@pytest.mark.parametrize(
    ("text", "plant"),
    [
        ("series:22", ("series", 22.0)),
        (" leakage:150 ", ("leakage", 150.0)),
        ("beta_shift:-3.5", ("beta_shift", -3.5)),
        ("open", ("open", 1.0)),
        ("short:1", ("short", 1.0)),
        ("series:0", ("series", 0.0)),
    ],
)
def test_a_plant_is_read_from_text(text: str, plant: tuple[str, float]) -> None:
    assert parse_plant(text) == plant


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("rust:3", "no fault called 'rust'. Choose one of aged, beta_shift, box_forgets"),
        ("series:", "write series:SIZE with the size in ohm"),
        ("series:much", "write series:SIZE with the size in ohm"),
        ("series:-1", "goes from 0 to 1e\\+06 ohm"),
        ("series:nan", "goes from 0"),
        ("r25_shift:400", "goes from -50 to 100 %"),
        ("open:0.5", "nothing between"),
        ("excitation_dead:100", "is one of 68, 750, 2700 .ohm of the sender's range."),
        ("place_never_opens:2.5", "is one of 1, 2, 3, 4"),
        ("", "no fault called ''"),
    ],
)
def test_a_plant_that_cannot_be_is_refused_in_words(text: str, words: str) -> None:
    with pytest.raises(PlantError, match=words):
        parse_plant(text)


@pytest.mark.parametrize("name", sorted(PLANTS))
def test_a_plant_without_a_size_has_the_one_that_the_list_gives(name: str) -> None:
    assert parse_plant(name) == parse_plant(f"{name}:{PLANTS[name].size:g}") == (name, PLANTS[name].size)


@given(st.sampled_from(sorted(PLANTS)), st.floats(50.0, 20_000.0))
def test_a_size_of_zero_is_no_fault(name: str, element_ohm: float) -> None:
    effects = effects_of((name, 0.0))
    assert effects.terminal_ohm(element_ohm) == element_ohm
    assert effects.shifted(LAW) == LAW
    assert effects == effects_of(None) == Effects()


def test_each_plant_does_what_its_unit_says() -> None:
    assert effects_of(("series", 22.0)).terminal_ohm(231.0) == 253.0
    assert effects_of(("leakage", 24.0)).terminal_ohm(2500.0) == pytest.approx(1 / (1 / 2500 + 1 / 24_000))
    assert effects_of(("open", 1.0)).terminal_ohm(231.0) == math.inf
    assert effects_of(("short", 1.0)).terminal_ohm(231.0) < 1.0
    aged = effects_of(("r25_shift", 10.0)).shifted(LAW)
    assert aged.resistance_ohm(80.0) == pytest.approx(1.1 * LAW.resistance_ohm(80.0))
    steep = effects_of(("beta_shift", 2.0)).shifted(LAW)
    assert steep.resistance_ohm(25.0) == pytest.approx(LAW.resistance_ohm(25.0))
    at_25, at_80 = LAW.resistance_ohm(25.0), LAW.resistance_ohm(80.0)
    assert math.log(at_25 / steep.resistance_ohm(80.0)) == pytest.approx(1.02 * math.log(at_25 / at_80))


def test_every_plant_explains_itself() -> None:
    for kind in PLANTS.values():
        assert kind.effect
        assert kind.lowest <= kind.size <= kind.highest
        assert kind.size
        assert kind.part
        assert kind.unit
