"""A judged infrared set point against targets whose truth is known."""

import math
from dataclasses import replace

import numpy as np
import pytest

from calibration.infrared.emissivity import BODY_APART_HALF_WIDTH_K, Shot, Surface, reading_c
from calibration.infrared.errors import InfraredError
from calibration.infrared.hand_reading import BY_HAND
from calibration.infrared.infrared_point import (
    AMBIENT_HALF_WIDTH_K,
    IMMERSED_CAVITY,
    PAINTED_FACE,
    TAPED_FACE,
    UNIFORMITY_HALF_WIDTH_K,
    Target,
    judge_shots,
)
from calibration.infrared.planck import EIGHT_TO_FOURTEEN_UM
from calibration.infrared.spot import OUTSIDE_SHARE

BAND = EIGHT_TO_FOURTEEN_UM
SHOT = Shot(set_emissivity=0.95, surroundings_c=23.0, surroundings_half_width_k=3.0)
TARGET = Target(kind=PAINTED_FACE, probe_c=90.0, u_probe_k=0.05, air_c=23.0)


def judged(readings_c, target=TARGET, **changes):
    settings = {"target": target, "shot": SHOT, "law": BAND, "resolution_k": 0.1}
    return judge_shots(readings_c, **{**settings, **changes})


def test_a_perfect_thermometer_has_no_error():
    expected_c = reading_c(TARGET.face_c, surface=PAINTED_FACE.surface, shot=SHOT, law=BAND)
    point = judged([expected_c] * 3)
    assert point.error_k == pytest.approx(0.0, abs=1e-9)
    assert point.expected_c == pytest.approx(expected_c)


def test_the_face_stands_between_its_probe_and_half_a_kelvin_below():
    # 0.5 K of paint at 90 °C in the design's own reckoning
    assert TARGET.probe_c - TARGET.face_c == pytest.approx(0.25, abs=0.01)
    assert TARGET.face_half_width_k == pytest.approx(0.25, abs=0.01)


def test_every_line_of_the_standard_is_in_the_budget():
    names = {line.quantity for line in judged([88.9, 89.0, 89.1]).budget.lines}
    assert names == {
        "calibration temperature",
        "heat exchange of the face",
        "uniformity of the face",
        "emissivity of the surface",
        "surroundings mirrored",
        "surroundings as believed",
        "size of source",
        "noise of the shots",
        "resolution",
        "temperature of the thermometer itself",
    }


def test_a_contact_thermometer_read_by_hand_leaves_the_error_less_sure_than_a_probe_of_the_same_u():
    bench, hand = judged([89.0] * 3), judged([89.0] * 3, replace(TARGET, by_hand=BY_HAND["painted_face"]))
    names = {line.quantity for line in hand.budget.lines} - {line.quantity for line in bench.budget.lines}
    assert names == {
        "contact and stem, read by hand (assumed)",
        "time from reading to shot, by hand (assumed)",
    }
    # JCGM 100, 4.3.7: half-widths over the root of 3. Stem: 1 % of 67 K; time: 30 s at 1 K/min.
    added_k = math.hypot(0.67 / math.sqrt(3.0), 0.5 / math.sqrt(3.0))
    assert hand.budget.standard_u == pytest.approx(math.hypot(bench.budget.standard_u, added_k), rel=0.01)
    assert hand.expanded_u_k > 1.15 * bench.expanded_u_k
    # Half of what its stem may take off is put back, to the face.
    assert hand.face_c - bench.face_c == pytest.approx(0.67 * (1.0 - 0.5 * 0.0075), abs=0.01)


@pytest.mark.parametrize("target", BY_HAND)
def test_every_target_read_by_hand_is_less_sure_than_the_same_read_by_a_bench(target):
    kinds = {"painted_face": PAINTED_FACE, "immersed_cavity": IMMERSED_CAVITY, "taped_face": TAPED_FACE}
    kind = kinds[target]
    bench = judged([89.0] * 3, replace(TARGET, kind=kind))
    hand = judged([89.0] * 3, replace(TARGET, kind=kind, by_hand=BY_HAND[target]))
    assert hand.expanded_u_k > bench.expanded_u_k + 0.05


def test_three_shots_that_scatter_are_worth_two_degrees_of_freedom():
    line = next(
        line for line in judged([88.5, 89.0, 89.5]).budget.lines if line.quantity == "noise of the shots"
    )
    assert line.degrees_of_freedom == 2
    assert line.standard_u == pytest.approx(0.5 / math.sqrt(3.0))


def test_two_shots_are_refused():
    with pytest.raises(InfraredError, match="3 or more"):
        judged([89.0, 89.1])


def test_a_cavity_in_the_bath_is_surer_than_a_painted_face():
    cavity = judged([89.0] * 3, replace(TARGET, kind=IMMERSED_CAVITY))
    assert cavity.expanded_u_k < 0.75 * judged([89.0] * 3).expanded_u_k


@pytest.mark.parametrize("probe_c", [40.0, 65.0, 90.0])
def test_the_interval_contains_the_true_error_on_targets_drawn_from_what_the_budget_does_not_know(probe_c):
    """400 targets: probe, face, paint, room, spot, thermometer and its body as they fall."""
    chance = np.random.default_rng(31)
    hits, tries, off_k = 0, 400, 0.7
    for _ in range(tries):
        air_c = 23.0
        bath_c = probe_c + 0.05 * chance.standard_normal()
        share = chance.uniform(PAINTED_FACE.lowest_share, PAINTED_FACE.highest_share)
        face_c = bath_c - share * (bath_c - air_c)
        face_c += chance.uniform(-UNIFORMITY_HALF_WIDTH_K, UNIFORMITY_HALF_WIDTH_K)
        paint = PAINTED_FACE.surface
        surface = Surface(
            emissivity=min(1.0, paint.emissivity + chance.uniform(-paint.half_width, paint.half_width))
        )
        room_c = SHOT.surroundings_c + chance.uniform(-3.0, 3.0)
        body_c = room_c + chance.uniform(-BODY_APART_HALF_WIDTH_K, BODY_APART_HALF_WIDTH_K)
        true_shot = replace(SHOT, surroundings_c=room_c, believed_c=body_c)
        beside = chance.uniform(-OUTSIDE_SHARE, OUTSIDE_SHARE)
        seen_c = BAND.temperature_c(BAND.signal(face_c) + beside * (BAND.signal(face_c) - BAND.signal(air_c)))
        shown_c = reading_c(seen_c, surface=surface, shot=true_shot, law=BAND) + off_k
        shown_c += chance.uniform(-AMBIENT_HALF_WIDTH_K, AMBIENT_HALF_WIDTH_K)
        shots_c = [round(shown_c + 0.1 * chance.standard_normal(), 1) for _ in range(3)]
        # what the bench is told: a probe that reads what it reads, and the room as typed
        point = judged(shots_c, replace(TARGET, probe_c=probe_c))
        hits += abs(point.error_k - off_k) <= point.expanded_u_k
    assert hits / tries >= 0.935  # 95.45 % less two standard deviations of 400 tries


def test_a_stem_in_air_warmer_than_the_bath_leaves_as_much_open_as_in_colder_air():
    plate = BY_HAND["painted_face"]
    warmer, colder = (plate.lines(said_c=23.0 + away_k, air_c=23.0)[0] for away_k in (-20.0, 20.0))
    assert warmer.standard_u == colder.standard_u > 0.0


def test_a_thermometer_that_hangs_in_the_bath_loses_less_than_one_in_a_plate_and_as_much_as_a_sender_does():
    """A sender hung in the simulated bath loses 0.3 % of the difference to the air."""
    assert 0.003 <= BY_HAND["immersed_cavity"].low_share < 0.5 * BY_HAND["painted_face"].low_share
