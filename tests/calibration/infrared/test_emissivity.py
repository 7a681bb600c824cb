import tomllib
from dataclasses import replace
from pathlib import Path

import GTC
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.infrared.emissivity import (
    Shot,
    Surface,
    reading_budget,
    reading_c,
    true_budget,
    true_c,
)
from calibration.infrared.errors import InfraredError
from calibration.infrared.planck import EIGHT_TO_FOURTEEN_UM, RIG_SENSOR_BAND
from calibration.infrared.radiation_law import FourthPower
from calibration.infrared.sakuma_hattori import refitted
from calibration.infrared.surfaces import known_surface, known_surfaces
from calibration.uncertainty.budget import BudgetLine, Distribution, Shape
from calibration.uncertainty.monte_carlo import Input, simulate

TABLE = tomllib.loads((Path(__file__).parents[1] / "published" / "infrared.toml").read_text("utf-8"))
BAND = EIGHT_TO_FOURTEEN_UM
LAWS = [BAND, RIG_SENSOR_BAND, FourthPower(), refitted(BAND)]
LAW_NAMES = ["8 to 14 µm", "rig", "fourth power", "closed form"]
emissivities = st.floats(0.3, 1.0)
rooms_c = st.floats(0.0, 50.0)
hot_c = st.floats(20.0, 200.0)


@pytest.mark.parametrize("row", TABLE["row"], ids=lambda row: f"{row['temperature_c']:g} °C")
def test_a_wrong_setting_shows_what_was_worked_out_for_it(row):
    shown_c = reading_c(
        row["temperature_c"],
        surface=Surface(emissivity=0.94),
        shot=Shot(set_emissivity=0.95, surroundings_c=23.0),
        law=BAND,
    )
    assert shown_c - row["temperature_c"] == pytest.approx(row["reading_error_k"], abs=5.1e-5)


@pytest.mark.parametrize("row", TABLE["row"], ids=lambda row: f"{row['temperature_c']:g} °C")
def test_surroundings_warmer_than_believed_show_what_was_worked_out_for_them(row):
    shown_c = reading_c(
        row["temperature_c"],
        surface=Surface(emissivity=0.95),
        shot=Shot(set_emissivity=0.95, surroundings_c=28.0, believed_c=23.0),
        law=BAND,
    )
    assert shown_c - row["temperature_c"] == pytest.approx(row["warmer_surroundings_k"], abs=5.1e-5)


@pytest.mark.parametrize("law", LAWS, ids=LAW_NAMES)
@given(true=hot_c, set_to=emissivities, emissivity=emissivities, room_c=rooms_c)
def test_what_is_shown_leads_back_to_the_surface(law, true, set_to, emissivity, room_c):
    surface, shot = Surface(emissivity=emissivity), Shot(set_emissivity=set_to, surroundings_c=room_c)
    try:
        shown_c = reading_c(true, surface=surface, shot=shot, law=law)
    except InfraredError:
        return  # a setting so wrong that nothing, or too much, would be shown
    assert true_c(shown_c, surface=surface, shot=shot, law=law) == pytest.approx(true, abs=1e-6)


@given(true=hot_c, emissivity=emissivities, room_c=rooms_c)
def test_the_right_setting_shows_the_truth(true, emissivity, room_c):
    shown_c = reading_c(
        true,
        surface=Surface(emissivity=emissivity),
        shot=Shot(set_emissivity=emissivity, surroundings_c=room_c),
        law=BAND,
    )
    assert shown_c == pytest.approx(true, abs=1e-7)


@given(room_c=rooms_c, set_to=emissivities, emissivity=emissivities)
def test_a_surface_as_warm_as_the_room_needs_no_emissivity(room_c, set_to, emissivity):
    shown_c = reading_c(
        room_c,
        surface=Surface(emissivity=emissivity),
        shot=Shot(set_emissivity=set_to, surroundings_c=room_c),
        law=BAND,
    )
    assert shown_c == pytest.approx(room_c, abs=1e-7)


@given(true=st.floats(60.0, 150.0), emissivity=st.floats(0.4, 0.95), step=st.floats(0.01, 0.04))
def test_a_duller_surface_hotter_than_the_room_shows_more(true, emissivity, step):
    shot = Shot(set_emissivity=0.95, surroundings_c=23.0)
    shinier = reading_c(true, surface=Surface(emissivity=emissivity), shot=shot, law=BAND)
    duller = reading_c(true, surface=Surface(emissivity=emissivity + step), shot=shot, law=BAND)
    assert duller > shinier


def budget_at(reading, **changes):
    settings = {
        "surface": Surface(emissivity=0.94, half_width=0.02),
        "shot": Shot(set_emissivity=0.95, surroundings_c=23.0, surroundings_half_width_k=5.0),
        "law": BAND,
        "thermometer": [
            BudgetLine(
                quantity="calibration",
                estimate=0.0,
                unit="K",
                standard_u=0.4,
                distribution=Distribution.NORMAL,
                sensitivity=1.0,
            )
        ],
    }
    return true_budget(reading, **{**settings, **changes})


def test_two_hundredths_of_emissivity_are_more_than_a_kelvin_at_90_degrees():
    # ±0.02 is 1.2 K at 90 °C in the design's own reckoning, which leaves the room open
    line = next(line for line in budget_at(90.0).lines if line.quantity.startswith("emissivity"))
    assert 0.02 * abs(line.sensitivity) == pytest.approx(1.2, abs=0.05)


@given(reading=st.floats(50.0, 150.0), emissivity=st.floats(0.5, 0.97), room_c=rooms_c, set_to=emissivities)
def test_every_sensitivity_is_the_slope_of_the_correction(reading, emissivity, room_c, set_to):
    surface = Surface(emissivity=emissivity, half_width=0.02)
    shot = Shot(set_emissivity=set_to, surroundings_c=room_c, surroundings_half_width_k=2.0)
    try:
        budget = budget_at(reading, surface=surface, shot=shot)
    except InfraredError:
        return
    by_name = {line.quantity: line.sensitivity for line in budget.lines}

    def at(reading_step=0.0, emissivity_step=0.0, room_step=0.0, body_step=0.0):
        room = room_c + room_step
        return true_c(
            reading + reading_step,
            surface=Surface(emissivity=emissivity + emissivity_step),
            shot=Shot(set_emissivity=set_to, surroundings_c=room, believed_c=room + body_step),
            law=BAND,
        )

    for name, steps in (
        ("calibration", {"reading_step": 1e-3}),
        ("emissivity of the surface", {"emissivity_step": 1e-5}),
        ("surroundings mirrored", {"room_step": 1e-3}),
        ("surroundings as believed", {"body_step": 1e-3}),
    ):
        ((what, step),) = steps.items()
        slope = (at(**{what: step}) - at(**{what: -step})) / (2.0 * step)
        assert by_name[name] == pytest.approx(slope, rel=2e-3, abs=1e-5)


def line_of(budget, name):
    (line,) = (line for line in budget.lines if line.quantity == name)
    return line


@pytest.mark.parametrize("row", TABLE["row"], ids=lambda row: f"{row['temperature_c']:g} °C")
def test_a_thermometer_colder_than_what_is_mirrored_counts_where_the_emissivities_are_equal(row):
    """What 5 K warmer surroundings add at 0.95 was worked out apart from the budget; 3 % for curvature."""
    budget = reading_budget(
        row["temperature_c"],
        surface=Surface(emissivity=0.95),
        shot=Shot(set_emissivity=0.95, surroundings_c=25.5),
        law=BAND,
    )
    line = line_of(budget, "surroundings as believed")
    assert line.standard_u * 3**0.5 == pytest.approx(5.0)
    assert abs(5.0 * line.sensitivity) == pytest.approx(row["warmer_surroundings_k"], rel=0.03)
    assert budget.standard_u >= abs(line.contribution) > 0.0


@pytest.mark.parametrize(
    ("shot", "half_width_k"),
    [
        (Shot(set_emissivity=0.95, surroundings_c=23.0), 5.0),
        (Shot(set_emissivity=0.95, surroundings_c=23.0, believed_half_width_k=2.0), 2.0),
        (Shot(set_emissivity=0.95, surroundings_c=60.0, believed_c=23.0), 0.0),
        (Shot(set_emissivity=0.95, surroundings_c=60.0, believed_c=23.0, believed_half_width_k=3.0), 3.0),
    ],
)
def test_what_was_set_on_the_thermometer_is_known_and_its_body_is_not(shot, half_width_k):
    line = line_of(budget_at(90.0, shot=shot), "surroundings as believed")
    assert line.standard_u * 3**0.5 == pytest.approx(half_width_k)


@pytest.mark.slow
@pytest.mark.parametrize("emissivity", [0.95, 0.7, 0.4])
def test_the_interval_holds_the_truth_however_far_its_body_is_from_what_is_mirrored(emissivity):
    """2000 shots of a sure thermometer set to the surface's own emissivity, room and body as they fall."""
    chance, law = np.random.default_rng(53), refitted(BAND)
    surface = Surface(emissivity=emissivity)
    hits, tries = 0, 2000
    for _ in range(tries):
        room_c = 23.0 + chance.uniform(-5.0, 5.0)
        body_c = room_c + chance.uniform(-5.0, 5.0)
        as_it_was = Shot(set_emissivity=emissivity, surroundings_c=room_c, believed_c=body_c)
        shown_c = reading_c(90.0, surface=surface, shot=as_it_was, law=law) + 0.1 * chance.standard_normal()
        budget = true_budget(
            shown_c,
            surface=surface,
            shot=Shot(set_emissivity=emissivity, surroundings_c=23.0, surroundings_half_width_k=5.0),
            law=law,
            thermometer=[replace(line_of(budget_at(90.0), "calibration"), standard_u=0.1, sensitivity=1.0)],
        )
        hits += abs(budget.estimate - 90.0) <= budget.expanded_u
    assert hits / tries >= 0.945


def test_a_thermometer_that_takes_nothing_off_need_not_know_its_surroundings():
    line = line_of(
        budget_at(90.0, shot=Shot(set_emissivity=1.0, surroundings_c=23.0)), "surroundings as believed"
    )
    assert line.sensitivity == 0.0


@pytest.mark.parametrize("half_width_k", [-1.0, float("nan")])
def test_no_half_width_is_negative(half_width_k):
    with pytest.raises(InfraredError, match="half-width"):
        Shot(set_emissivity=0.95, surroundings_c=23.0, believed_half_width_k=half_width_k)
    with pytest.raises(InfraredError, match="half-width"):
        Shot(set_emissivity=0.95, surroundings_c=23.0, surroundings_half_width_k=half_width_k)


def test_where_the_emissivity_rules_the_factor_is_that_of_a_rectangle():
    budget = budget_at(100.0, thermometer=[], surface=Surface(emissivity=0.94, half_width=0.05))
    assert budget.shape is Shape.RECTANGLE
    assert budget.k == pytest.approx(1.65, abs=0.01)


def test_the_reading_of_a_known_surface_is_as_uncertain_as_the_way_back():
    there = budget_at(100.0)
    back = reading_budget(
        there.estimate,
        surface=Surface(emissivity=0.94, half_width=0.02),
        shot=Shot(set_emissivity=0.95, surroundings_c=23.0, surroundings_half_width_k=5.0),
        law=BAND,
        thermometer=[line for line in budget_at(100.0).lines if line.quantity == "calibration"][:0],
    )
    assert back.estimate == pytest.approx(100.0, abs=1e-6)
    without = budget_at(100.0, thermometer=[])
    slope = (0.94 * BAND.slope_per_k(there.estimate)) / (0.95 * BAND.slope_per_k(100.0))
    assert back.standard_u == pytest.approx(without.standard_u * slope, rel=1e-9)


@pytest.mark.parametrize("emissivity", [0.0, 0.05, 1.01, -0.5, float("nan")])
def test_no_mirror_and_no_more_than_black_is_taken_for_a_surface(emissivity):
    with pytest.raises(InfraredError, match="tape"):
        Surface(emissivity=emissivity)
    with pytest.raises(InfraredError, match="look again at its display"):
        Shot(set_emissivity=emissivity, surroundings_c=23.0)


def test_an_emissivity_that_may_be_nothing_says_nothing():
    with pytest.raises(InfraredError, match="says nothing"):
        Surface(emissivity=0.2, half_width=0.2)


def test_a_hot_manifold_in_a_shiny_surface_is_refused():
    with pytest.raises(InfraredError, match="Shield"):
        true_c(
            40.0,
            surface=Surface(emissivity=0.2),
            shot=Shot(set_emissivity=0.95, surroundings_c=300.0, believed_c=23.0),
            law=BAND,
        )


def test_a_setting_that_takes_off_everything_is_refused():
    with pytest.raises(InfraredError, match="show nothing"):
        reading_c(
            -20.0,
            surface=Surface(emissivity=1.0),
            shot=Shot(set_emissivity=0.2, surroundings_c=80.0),
            law=BAND,
        )


def test_every_default_emissivity_says_whose_word_it_is():
    rows = known_surfaces()
    assert len(rows) == 24
    for row in rows:
        assert 0.0 < row.lowest <= row.highest <= 1.0
        assert "common practice" in row.source or "handbook" in row.source
        assert row.half_width >= 0.02


def test_a_surface_is_found_by_name_for_the_band_of_the_thermometer():
    found = known_surface(" Cast iron oxidised ")
    assert found.spectrum == "8 to 14 µm"
    assert (found.lowest, found.highest) == (0.6, 0.95)
    assert known_surface("vinyl electrical tape").surface.emissivity == 0.96


@pytest.mark.parametrize(("name", "words"), [("chrome", "lists"), ("black tape", "vinyl electrical tape")])
def test_an_unknown_surface_is_refused_with_its_neighbours(name, words):
    with pytest.raises(InfraredError, match=words):
        known_surface(name)


def test_polished_aluminium_is_no_default_but_a_mirror():
    with pytest.raises(InfraredError, match="mirrors the room"):
        _ = known_surface("aluminium polished").surface


def closed_form_true(law, reading, set_to, emissivity, room, apart, *, exp, log):
    """The correction written out for the Sakuma-Hattori form, for any kind of number."""

    def signal(temperature):
        return law.scale / (exp(law.c2_um_k / (law.a_um * (temperature + 273.15) + law.b_um_k)) - 1.0)

    mirrored = (1.0 - set_to) * signal(room + apart) - (1.0 - emissivity) * signal(room)
    own = (set_to * signal(reading) + mirrored) / emissivity
    return (law.c2_um_k / log(law.scale / own + 1.0) - law.b_um_k) / law.a_um - 273.15


SPREADS = {"reading": 0.4, "emissivity": 0.02 / 3**0.5, "room": 5.0 / 3**0.5, "apart": 5.0 / 3**0.5}


def drawn_inputs(reading, emissivity, emissivity_u):
    rectangle = Distribution.RECTANGULAR
    return {
        "reading": Input(estimate=reading, standard_u=SPREADS["reading"]),
        "emissivity": Input(estimate=emissivity, standard_u=emissivity_u, distribution=rectangle),
        "room": Input(estimate=23.0, standard_u=SPREADS["room"], distribution=rectangle),
        "apart": Input(estimate=0.0, standard_u=SPREADS["apart"], distribution=rectangle),
    }


def test_automatic_differentiation_gives_the_same_uncertainty():
    # second opinion on the sensitivities: GTC 1.5.1 on the whole equation
    law = refitted(BAND)
    found = closed_form_true(
        law,
        GTC.ureal(100.0, SPREADS["reading"]),
        0.95,
        GTC.ureal(0.94, SPREADS["emissivity"]),
        GTC.ureal(23.0, SPREADS["room"]),
        GTC.ureal(0.0, SPREADS["apart"]),
        exp=GTC.exp,
        log=GTC.log,
    )
    budget = budget_at(100.0, law=law)
    assert GTC.value(found) == pytest.approx(budget.estimate, abs=1e-9)
    assert GTC.uncertainty(found) == pytest.approx(budget.standard_u, rel=1e-9)


@pytest.mark.parametrize("emissivity", [0.95, 0.94, 0.6])
def test_simulation_of_the_whole_equation_agrees_with_the_budget(emissivity):
    law = refitted(BAND)
    set_to = 0.6 if emissivity == 0.6 else 0.95

    def model(drawn):
        return closed_form_true(
            law,
            drawn["reading"],
            set_to,
            drawn["emissivity"],
            drawn["room"],
            drawn["apart"],
            exp=np.exp,
            log=np.log,
        )

    simulated = simulate(
        model, drawn_inputs(100.0, emissivity, SPREADS["emissivity"]), seed=41, trials=400_000
    )
    budget = budget_at(
        100.0,
        law=law,
        surface=Surface(emissivity=emissivity, half_width=0.02),
        shot=Shot(set_emissivity=set_to, surroundings_c=23.0, surroundings_half_width_k=5.0),
    )
    # where no rectangle rules, k = 2 stands for a normal shape; the rectangle in it makes the truth shorter
    assert simulated.estimate == pytest.approx(budget.estimate, abs=0.05)
    assert simulated.standard_u == pytest.approx(budget.standard_u, rel=0.01)
    assert 0.90 * budget.expanded_u < simulated.expanded_u <= 1.01 * budget.expanded_u


@pytest.mark.parametrize("emissivity", [0.95, 0.6])
def test_simulation_of_what_will_be_shown_agrees_with_its_budget(emissivity):
    law = refitted(BAND)

    def model(drawn):
        # The reverse is the same equation with surface and thermometer in each other's place.
        room = drawn["room"] + drawn["apart"]
        seen = closed_form_true(
            law,
            100.0,
            drawn["emissivity"],
            emissivity,
            room,
            -drawn["apart"],
            exp=np.exp,
            log=np.log,
        )
        return seen + drawn["reading"]

    simulated = simulate(model, drawn_inputs(0.0, emissivity, SPREADS["emissivity"]), seed=43, trials=400_000)
    budget = reading_budget(
        100.0,
        law=law,
        surface=Surface(emissivity=emissivity, half_width=0.02),
        shot=Shot(set_emissivity=emissivity, surroundings_c=23.0, surroundings_half_width_k=5.0),
        thermometer=[line_of(budget_at(100.0), "calibration")],
    )
    assert simulated.estimate == pytest.approx(budget.estimate, abs=0.05)
    assert simulated.standard_u == pytest.approx(budget.standard_u, rel=0.01)
    assert 0.90 * budget.expanded_u < simulated.expanded_u <= 1.01 * budget.expanded_u
