"""The simulated board keeps to the data sheets it was drawn from."""

import tomllib
from itertools import islice
from pathlib import Path

import numpy as np
import pytest

from rig.sim.board import Board, draw_thresholds
from rig.sim.chance import generator, normal_numbers
from rig.wiring import load_wiring

ACCURACY = tomllib.loads((Path(__file__).parent / "published" / "mcp3208.toml").read_text("utf-8"))[
    "accuracy"
]


@pytest.mark.parametrize("seed", range(20))
def test_the_converter_is_a_b_grade(seed: int) -> None:
    """Integral and differential non-linearity, by the end-point line, as a data sheet has them."""
    thresholds = np.array(draw_thresholds(generator(seed, "converter")))
    codes = np.arange(len(thresholds))
    line = thresholds[0] + (thresholds[-1] - thresholds[0]) * codes / codes[-1]
    inl = np.max(np.abs(thresholds - line))
    dnl = np.max(np.abs(np.diff(thresholds) - 1))
    assert 0.4 < inl <= ACCURACY["inl_b_grade_max_lsb"]
    assert dnl <= ACCURACY["dnl_max_lsb"]
    assert np.all(np.diff(thresholds) > 0)  # no code is missing


def test_converters_differ() -> None:
    assert draw_thresholds(generator(1, "converter")) != draw_thresholds(generator(2, "converter"))


@pytest.mark.parametrize("seed", range(20))
def test_resistors_are_within_their_tolerance(seed: int) -> None:
    wiring = load_wiring()
    board = Board.draw(generator(seed, "board"), wiring)
    for name, channel in board.channels.items():
        for real, nominal in zip(channel.ranges, wiring.channels[name].ranges, strict=True):
            assert real.reference_at(25.0) == pytest.approx(nominal.reference_ohm, rel=1e-3)
            assert real.reference_at(35.0) == pytest.approx(real.reference_at(25.0), rel=250.1e-6)
            assert real.above_tap0_ohm > 0.98 * nominal.ballast_ohm


def test_noise_in_blocks_is_normal_and_does_not_repeat() -> None:
    numbers = normal_numbers(generator(1, "noise"))
    drawn = np.array(list(islice(numbers, 20_000)))
    assert abs(drawn.mean()) < 0.03
    assert drawn.std() == pytest.approx(1.0, abs=0.02)
    assert len(np.unique(drawn)) == len(drawn)
