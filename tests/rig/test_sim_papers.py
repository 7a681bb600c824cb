"""The simulated instruments' certificates: the truth is within what they state."""

import math
import tomllib
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from rig.errors import SavedWorldError
from rig.sim.artefact import true_ohm
from rig.sim.board import RealDecadeBox
from rig.sim.chance import generator
from rig.sim.papers import write_papers
from rig.sim.world import World, new_world_state
from rig.wiring import load_wiring

STEPS = load_wiring().decade_box.step_ohm
TODAY_UTC_S = 1_800_000_000.0  # 2027-01-15


def write(folder: Path, seed: int) -> tuple[dict, dict, World, RealDecadeBox]:
    world = World(state=new_world_state(seed=seed, plant=None), now_s=0.0)
    box = RealDecadeBox.draw(generator(seed, "decade_box"), STEPS)
    write_papers(folder, seed=seed, probe=world.probe_law, box=box, step_ohm=STEPS, today_utc_s=TODAY_UTC_S)
    probe = tomllib.loads((folder / "probe.toml").read_text("utf-8"))
    decade_box = tomllib.loads((folder / "decade_box.toml").read_text("utf-8"))
    return probe, decade_box, world, box


@pytest.mark.parametrize("seed", range(25))
def test_the_probe_is_within_its_stated_uncertainty_all_over_its_range(tmp_path: Path, seed: int) -> None:
    paper, _, world, _ = write(tmp_path, seed)
    errors_k = []
    for temperature_c in np.linspace(paper["valid_from_c"], paper["valid_to_c"], 60):
        log = math.log(world.probe_law.resistance_ohm(temperature_c))
        certified_c = 1 / (paper["a"] + paper["b"] * log + paper["c"] * log**3) - 273.15
        errors_k.append(certified_c - temperature_c)
    assert max(map(abs, errors_k)) <= paper["expanded_u_k"]
    assert max(map(abs, errors_k)) > 1e-4  # and is not the truth itself


@pytest.mark.parametrize("board_c", [23.0, 32.0])
@pytest.mark.parametrize("seed", range(5))
def test_any_setting_of_the_box_is_within_its_stated_uncertainty(
    tmp_path: Path, seed: int, board_c: float
) -> None:
    _, paper, _, box = write(tmp_path, seed)
    certified = [step["certified_ohm"] for step in paper["step"]]
    for setting in (0, 1, 57, 200, 436, 999, 2500, 4321, 9999):
        digits = [int(digit) for digit in reversed(f"{setting:04d}")]
        bits = [digit >> weight & 1 for digit in digits for weight in range(4)]
        opened = sum(bit << number for number, bit in enumerate(bits))
        claimed_ohm = paper["residual_ohm"] + sum(
            ohm for ohm, bit in zip(certified, bits, strict=True) if bit
        )
        allowed_ohm = paper["expanded_u_relative"] * claimed_ohm + paper["expanded_u_ohm"]
        true_ohm = box.resistance_ohm(opened, board_c)
        assert abs(claimed_ohm - true_ohm) <= allowed_ohm
        assert true_ohm == pytest.approx(setting, rel=0.0011, abs=1.5)


def test_the_papers_say_what_they_are(tmp_path: Path) -> None:
    for paper, kind in zip(write(tmp_path, 3)[:2], ("probe", "decade_box"), strict=True):
        assert paper["kind"] == kind
        assert paper["simulated"] is True
        assert "invented" in paper["issuer"]
        assert paper["issued"] < date(2027, 1, 15) < paper["due"]
        assert paper["k"] == 2.0
        assert paper["serial"] in paper["certificate"] or paper["serial"][4:] in paper["certificate"]
    assert paper["step"][0]["nominal_ohm"] == 1
    assert [step["nominal_ohm"] for step in paper["step"]] == list(STEPS)


def test_papers_that_are_there_are_left_alone(tmp_path: Path) -> None:
    write(tmp_path, 3)
    before = (tmp_path / "probe.toml").read_bytes() + b"# a note of the owner\n"
    (tmp_path / "probe.toml").write_bytes(before)
    write(tmp_path, 3)
    assert (tmp_path / "probe.toml").read_bytes() == before


def test_papers_of_another_bench_are_refused(tmp_path: Path) -> None:
    write(tmp_path, 3)
    with pytest.raises(SavedWorldError, match="belongs to another simulated bench"):
        write(tmp_path, 4)


@pytest.mark.parametrize("nominal_ohm", [100.0, 325.0, 1000.0, 2500.0, 10_000.0])
def test_the_resistor_that_goes_round_is_the_same_at_every_bench_and_within_its_certificate(
    tmp_path: Path, nominal_ohm: float
) -> None:
    papers = []
    for seed in (1, 2):
        folder = tmp_path / str(seed)
        world = World(state=new_world_state(seed=seed, plant=None), now_s=0.0)
        box = RealDecadeBox.draw(generator(seed, "decade_box"), STEPS)
        write_papers(
            folder, seed=seed, probe=world.probe_law, box=box, step_ohm=STEPS, today_utc_s=TODAY_UTC_S,
            artefact_ohm=nominal_ohm,
        )  # fmt: skip
        papers.append((folder / "artefact.toml").read_text("utf-8"))
    assert papers[0] == papers[1]
    paper = tomllib.loads(papers[0])
    off_ohm = abs(paper["resistance_ohm"] - true_ohm(nominal_ohm))
    assert 0.0 < off_ohm <= paper["expanded_u_ohm"]
