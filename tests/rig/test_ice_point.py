"""The probe in ice: a range of its own, a minute's mean, and refusals in words."""

import json
import math
import re
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from rig.bench import SimulatedBench, simulated_bench
from rig.cli import main
from rig.clock import SimulatedClock
from rig.errors import RigError
from rig.ice_point import read_ice_point
from rig.wiring import load_wiring, parse_wiring, wiring_file

pytestmark = pytest.mark.slow

WIRING = load_wiring()
PROBE = tomllib.loads((Path(__file__).parent / "published" / "senders.toml").read_text("utf-8"))["probe"]


@pytest.fixture
def make(tmp_path: Path) -> Iterator[Callable[..., SimulatedBench]]:
    made: list[SimulatedBench] = []

    def bench(*, seed: int = 1, plant: tuple[str, float] | None = None) -> SimulatedBench:
        made.append(
            simulated_bench(
                wiring=WIRING,
                seed=seed,
                plant=plant,
                world_file=tmp_path / str(len(made)) / "world.json",
                clock=SimulatedClock(),
            )
        )
        return made[-1]

    yield bench
    for each in made:
        each.close()


def kelvin(temperature_c: float, resistance_ohm: float) -> float:
    """1/T of the published probe at a resistance, less that of a temperature, as kelvin."""
    log = math.log(resistance_ohm)
    return 1 / (PROBE["a"] + PROBE["b"] * log + PROBE["c"] * log**3) - 273.15 - temperature_c


@pytest.mark.parametrize("seed", range(6))
def test_the_ice_point_is_read_within_the_probe_s_spread_and_the_range_s_error(make, seed: int) -> None:
    """0.5 % of R25 and 0.2 % of beta are 0.12 K at 0 °C, 0.6 % of R is another 0.12 K."""
    bench = make(seed=seed)
    bench.hands({"do": "ice"})
    bench.clock.wait_until(600.0)
    found = read_ice_point(bench, WIRING)
    assert found.readings == 240
    assert abs(kelvin(0.0, found.resistance_ohm)) < 0.25
    true_ohm = bench.silicon.world.probe_ohm
    assert abs(found.resistance_ohm / true_ohm - 1) < 0.006
    assert abs(found.drift_ohm_per_min) < 5.0
    assert 0 < found.scatter_ohm < 15.0
    assert bench.sample().channels["probe"].raw is not None  # back on its usual range


def test_a_slush_that_is_not_ready_drifts(make) -> None:
    bench = make()
    bench.hands({"do": "ice"})
    assert read_ice_point(bench, WIRING).drift_ohm_per_min > 1000.0
    bench.hands({"do": "fresh_water", "temperature_c": 20})
    assert bench.silicon.world.state.bath.bath_c == 20.0
    bench.clock.wait_until(bench.clock.monotonic_s() + 60.0)
    bench.sample()
    assert bench.silicon.world.state.bath.bath_c == pytest.approx(20.0, abs=0.1)


def test_a_probe_that_cannot_be_read_is_refused_with_the_reason(make) -> None:
    with pytest.raises(RigError, match="0 of 240 readings.*open circuit"):
        read_ice_point(make(plant=("probe_open", 1.0)), WIRING)


def test_a_bench_without_a_cold_range_says_so(make) -> None:
    text = wiring_file().read_text("utf-8")
    start = text.index("# Cold range"), text.index("# Outside these no ohms")
    without = parse_wiring(text[: start[0]] + text[start[1] :])
    with pytest.raises(RigError, match="no range of the probe for the ice point"):
        read_ice_point(make(), without)


def test_the_command_says_what_it_read_and_that_it_is_simulated() -> None:
    done = CliRunner().invoke(main, ["ice", "--simulate", "--json"])
    assert done.exit_code == 0
    found = json.loads(done.output)
    assert found["simulated"] is True
    assert abs(kelvin(0.0, found["resistance_ohm"])) < 0.25
    done = CliRunner().invoke(main, ["ice", "--simulate"])
    assert re.search(r"SIMULATED\. Probe in ice, mean of 240 readings:\n  32\d{3}\.\d ohm", done.output)
