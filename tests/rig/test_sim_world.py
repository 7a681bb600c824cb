"""The simulated world: lags, losses, self-heating and chance, all from one seed."""

import math
import tomllib
from pathlib import Path
from statistics import fmean, pstdev

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.errors import HandsRefused
from rig.sim.artefact import OFF_NOMINAL
from rig.sim.bath import vapour_pressure_pa
from rig.sim.hands import do_by_hand
from rig.sim.thermistor_law import ThermistorLaw, load_laws
from rig.sim.world import World, draw_sender, new_world_state

PUBLISHED = tomllib.loads((Path(__file__).parent / "published" / "senders.toml").read_text("utf-8"))


def world(seed: int = 7, plant: tuple[str, float] | None = None) -> World:
    return World(state=new_world_state(seed=seed, plant=plant), now_s=0.0)


def run(bath: World, from_s: float, to_s: float) -> list[tuple[float, float, float]]:
    """Bath, probe and sender once a second. [°C]"""
    rows = []
    for second in range(math.ceil(from_s), int(to_s) + 1):
        bath.advance(float(second))
        bodies = bath.state.bodies
        rows.append((bath.state.bath.bath_c, bodies.probe_c, bodies.sender_c))
    return rows


@pytest.mark.parametrize("limits", PUBLISHED["limits"], ids=lambda limits: f"{limits['temperature_c']:g} °C")
@pytest.mark.parametrize("seed", range(8))
def test_a_healthy_sender_lies_well_inside_the_printed_limits(seed: int, limits: dict) -> None:
    bath = world(seed)
    bath.state.bodies.sender_c = limits["temperature_c"]
    middle = (limits["low_ohm"] + limits["high_ohm"]) / 2
    half = (limits["high_ohm"] - limits["low_ohm"]) / 2
    assert abs(bath.sender_ohm - middle) < 0.6 * half


def test_senders_differ_by_no_more_than_their_spread() -> None:
    law, _ = load_laws()
    drawn = [draw_sender(seed=seed, count=count) for seed in range(20) for count in range(10)]
    r25 = [sender.r25_factor - 1 for sender in drawn]
    beta = [sender.beta_factor - 1 for sender in drawn]
    stem = [sender.stem_fraction for sender in drawn]
    assert max(map(abs, r25)) <= law.r25_spread
    assert max(map(abs, beta)) <= law.beta_spread
    assert 0 <= min(stem) < 0.0005 < 0.0025 < max(stem) <= 0.003
    assert len(set(r25)) == len(drawn)


def test_the_probe_s_law_is_the_published_one() -> None:
    check = PUBLISHED["probe"]
    law = ThermistorLaw(a=check["a"], b=check["b"], c=check["c"])
    slope = law.resistance_ohm(25.05) / law.resistance_ohm(24.95) - 1
    error_k = (law.resistance_ohm(check["temperature_c"]) / check["resistance_ohm"] - 1) / abs(slope) * 0.1
    assert abs(error_k) < check["tolerance_k"]
    _, drawn_from = load_laws()
    assert (drawn_from.law.a, drawn_from.law.b, drawn_from.law.c) == (check["a"], check["b"], check["c"])


@given(st.floats(-20.0, 130.0))
def test_resistance_satisfies_the_printed_form_of_the_law(temperature_c: float) -> None:
    law = load_laws()[0].law
    log = math.log(law.resistance_ohm(temperature_c))
    assert 1 / (law.a + law.b * log + law.c * log**3) - 273.15 == pytest.approx(temperature_c, abs=1e-8)


@pytest.mark.parametrize("check", PUBLISHED["saturation"], ids=lambda check: check["source"])
def test_vapour_pressure_is_good_enough_for_a_loss(check: dict) -> None:
    assert vapour_pressure_pa(check["temperature_c"]) == pytest.approx(check["pressure_pa"], rel=0.03)


@pytest.mark.parametrize("set_c", [40.0, 90.0])
def test_the_heater_brings_the_bath_to_its_setting_and_holds_it(set_c: float) -> None:
    bath = world()
    bath.set_heater(set_c)
    rows = run(bath, 1, 1500)
    last = rows[-240:]
    offset_k = bath.state.bath_parameters.thermostat_offset_k
    assert fmean(row[0] for row in last) == pytest.approx(set_c - offset_k, abs=0.1)
    assert pstdev(row[0] for row in last) < 0.02
    fastest_k_per_min = max(b[0] - a[0] for a, b in zip(rows, rows[60:], strict=False))
    assert 5.0 < fastest_k_per_min < 9.0  # 900 W into 1.5 litres: 8.6 K/min without losses


def test_losses_grow_faster_than_the_temperature_difference() -> None:
    """Evaporation: cooling at 90 °C is more than the ratio of differences would make it."""
    rates = []
    for start_c in (40.0, 90.0):
        bath = world()
        bath.fresh_water(start_c)
        rows = run(bath, 1, 120)
        rates.append((rows[0][0] - rows[-1][0]) / (start_c - bath.state.bath.room_c))
    assert rates[1] > 1.2 * rates[0] > 0


def test_bodies_follow_the_bath_with_their_own_lags() -> None:
    bath = world()
    room_c = bath.state.bath.room_c
    bath.fresh_water(60.0)
    tau_s = bath.state.sender.tau_s
    bath.advance(tau_s)
    bodies = bath.state.bodies
    assert (60.0 - bodies.sender_c) / (60.0 - room_c) == pytest.approx(math.exp(-1), abs=0.01)
    assert bodies.probe_c > bodies.sender_c > bodies.witness_c - 3.0
    assert 10.0 <= tau_s <= 15.0


def test_settled_the_sender_is_off_by_stem_and_gradient_only() -> None:
    bath = world()
    bath.set_heater(90.0)
    rows = run(bath, 1, 2400)[-600:]
    difference_k = fmean(row[2] - row[1] for row in rows)
    state = bath.state
    stem_k = -state.sender.stem_fraction * (fmean(row[0] for row in rows) - state.bath.room_c)
    assert difference_k == pytest.approx(stem_k + state.body_parameters.gradient_steady_k, abs=0.02)


def still(bath: World, *, water_c: float) -> World:
    """The same bath with its heater at ``water_c`` and nothing left of the wandering gradient."""
    bath.set_heater(water_c)
    run(bath, 1, 1500)
    return bath


def mean_difference_k(bath: World, from_s: int) -> float:
    """Sender minus probe over five minutes, after a minute for both to follow. [K]"""
    rows = run(bath, from_s, from_s + 360)[60:]
    return fmean(sender_c - probe_c for _, probe_c, sender_c in rows)


def test_a_sender_drawn_out_loses_more_up_its_stem_as_a_fin_does_and_lowered_as_before() -> None:
    """Incropera et al., extended surfaces: what is lost falls exponentially with depth (from memory)."""
    bath = still(world(seed=4), water_c=85.0)
    sender, above_k = bath.state.sender, 85.0 - bath.state.bath.room_c
    deep_k = mean_difference_k(bath, 1501)
    bath.draw_out(15.0)
    shallow_k = mean_difference_k(bath, 1901)
    bath.draw_out(0.0)
    again_k = mean_difference_k(bath, 2301)
    more = math.exp(15.0 / sender.stem_decay_mm) - 1.0
    assert deep_k - shallow_k == pytest.approx(sender.stem_fraction * more * above_k, abs=0.05)
    assert deep_k - shallow_k > 0.1
    assert again_k == pytest.approx(deep_k, abs=0.05)


def test_changing_places_turns_the_gradient_round_and_leaves_the_stem() -> None:
    bath = world(seed=4, plant=("stratification", 0.2))
    still(bath, water_c=85.0)
    before_k = mean_difference_k(bath, 1501)
    bath.change_places(True)
    after_k = mean_difference_k(bath, 1901)
    above_k = 85.0 - bath.state.bath.room_c
    gradient_k = bath.state.body_parameters.gradient_steady_k - 0.2 / 68.0 * above_k  # 0.2 K at 90 °C
    assert (before_k - after_k) / 2 == pytest.approx(gradient_k, abs=0.04)
    assert (before_k + after_k) / 2 == pytest.approx(-bath.state.sender.stem_fraction * above_k, abs=0.04)


def test_a_sender_that_is_hung_in_anew_hangs_deep_and_in_its_own_place() -> None:
    bath = world()
    do_by_hand(bath, {"do": "draw_out", "by_mm": 15})
    do_by_hand(bath, {"do": "places", "changed": True})
    assert (bath.state.drawn_out_mm, bath.state.has_changed_places) == (15.0, True)
    do_by_hand(bath, {"do": "fit_sender", "plant": None})
    assert (bath.state.drawn_out_mm, bath.state.has_changed_places) == (0.0, False)


def test_the_gradient_wanders_within_a_few_hundredths() -> None:
    bath = world()
    seen = []
    for second in range(6000):
        bath.advance(float(second))
        seen.append(bath.state.bodies.gradient_k)
    assert 0.015 < max(map(abs, seen)) < 0.05
    assert pstdev(seen) == pytest.approx(0.011, rel=0.5)


def test_current_warms_a_body_by_power_over_dissipation() -> None:
    hot, cold = world(), world()
    power_w = 1e-3
    for quarter in range(1, 1200):
        hot.heat.sender_j = power_w * 0.25
        hot.advance(quarter / 4)
        cold.advance(quarter / 4)
    warmed_k = hot.state.bodies.sender_c - cold.state.bodies.sender_c
    assert warmed_k == pytest.approx(power_w / hot.state.sender.dissipation_w_per_k, rel=1e-6)
    assert hot.state.bodies.probe_c == cold.state.bodies.probe_c


def test_the_same_seed_gives_the_same_world_and_another_seed_another() -> None:
    def trace(seed: int) -> list[tuple[float, float, float]]:
        bath = world(seed)
        bath.set_heater(50.0)
        return run(bath, 1, 100)

    assert trace(3) == trace(3)
    assert trace(3) != trace(4)


def test_time_never_goes_back() -> None:
    bath = world()
    bath.set_heater(60.0)
    bath.advance(100.0)
    before_c = bath.state.bath.bath_c
    bath.advance(50.0)
    assert bath.state.bath.bath_c == before_c


def test_the_bath_does_not_pass_its_boiling_point() -> None:
    bath = world()
    bath.fresh_water(95.0)
    bath.state.bath_parameters = bath.state.bath_parameters  # as drawn
    bath.set_heater(98.0)
    bath.state.bath.set_c = 130.0  # a thermostat gone wrong
    run(bath, 1, 600)
    assert bath.state.bath.bath_c == pytest.approx(bath.state.bath_parameters.boiling_c, abs=0.2)


def test_hands_turn_the_heater_pour_water_and_hang_senders() -> None:
    bath = world()
    do_by_hand(bath, {"do": "heater", "temperature_c": 60})
    assert bath.state.bath.set_c == 60.0
    do_by_hand(bath, {"do": "heater", "off": True})
    assert bath.state.bath.set_c is None
    do_by_hand(bath, {"do": "fresh_water", "temperature_c": 30})
    assert bath.state.bath.bath_c == 30.0
    first = bath.state.sender
    do_by_hand(bath, {"do": "fit_sender", "plant": "series:22"})
    assert bath.state.plant == ("series", 22.0)
    assert bath.state.sender != first
    with_fault_ohm = bath.sender_ohm
    do_by_hand(bath, {"do": "fit_sender", "plant": None})
    assert bath.state.plant is None
    assert bath.state.sender_count == 2
    assert with_fault_ohm - bath.sender_ohm == pytest.approx(22.0, rel=2)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"do": "heater", "temperature_c": 130}, "set from 20 to 98 °C, not to 130"),
        ({"do": "heater", "temperature_c": "hot"}, "not to 'hot'"),
        ({"do": "heater", "temperature_c": True}, "not to True"),
        ({"do": "heater"}, "fields that do not fit"),
        ({"do": "heater", "off": False}, "fields that do not fit"),
        ({"do": "heater", "off": True, "temperature_c": 50}, "fields that do not fit"),
        ({"do": "fresh_water", "temperature_c": 100}, "from 1 to 95 °C"),
        ({"do": "fit_sender"}, "fields that do not fit"),
        ({"do": "fit_sender", "plant": "rust:1"}, "no fault called 'rust'"),
        ({"do": "fit_sender", "plant": 22}, "A plant is text like series:22"),
        ({"do": "draw_out", "by_mm": 40}, "from 0 to 20 mm, not to 40"),
        ({"do": "draw_out", "by_mm": True}, "from 0 to 20 mm"),
        ({"do": "places", "changed": "yes"}, "places came with fields that do not fit"),
        ({"do": "drink_tea"}, "These hands can do heater, fresh_water, fit_sender"),
        ({}, "These hands can do"),
    ],
)
def test_hands_refuse_in_words_what_they_cannot_do(fields: dict, words: str) -> None:
    bath = world()
    before = (bath.state.bath.set_c, bath.state.bath.bath_c, bath.state.sender, bath.state.plant)
    with pytest.raises(HandsRefused, match=words):
        do_by_hand(bath, fields)
    assert (bath.state.bath.set_c, bath.state.bath.bath_c, bath.state.sender, bath.state.plant) == before


def test_a_plain_resistor_is_clipped_in_where_the_sender_goes_until_a_sender_is_fitted() -> None:
    bath = world()
    with pytest.raises(HandsRefused, match="start its rig with --artefact OHM"):
        do_by_hand(bath, {"do": "fit_artefact", "plant": None})
    bath.state.artefact_ohm = 1000.0
    do_by_hand(bath, {"do": "fit_artefact", "plant": None})
    do_by_hand(bath, {"do": "heater", "temperature_c": 60})
    run(bath, 1, 60)
    resistor_ohm = bath.sender_ohm
    assert resistor_ohm == pytest.approx(1000.0, rel=OFF_NOMINAL) and resistor_ohm != 1000.0
    do_by_hand(bath, {"do": "fit_artefact", "plant": "series:15"})
    assert bath.sender_ohm == pytest.approx(resistor_ohm + 15.0)
    with pytest.raises(HandsRefused, match="beta_shift is no fault of clips"):
        do_by_hand(bath, {"do": "fit_artefact", "plant": "beta_shift:4"})
    do_by_hand(bath, {"do": "fit_sender", "plant": None})
    assert bath.sender_ohm > 1.2 * resistor_ohm
