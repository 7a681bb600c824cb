"""A world that was put away is taken up again, cooled by the time it was away."""

import json
from pathlib import Path

import pytest

from rig.bench import SimulatedBench, simulated_bench, simulated_start_utc_s
from rig.clock import SimulatedClock
from rig.errors import SavedWorldError
from rig.sim.world_file import read_world
from rig.wiring import load_wiring

WIRING = load_wiring()
START_UTC_S = 1_800_000_000.0


def wake(folder: Path, *, wall_utc_s: float, seed: int = 5, plant=None) -> SimulatedBench:
    world_file = folder / "world.json"
    clock = SimulatedClock(start_utc_s=simulated_start_utc_s(world_file, wall_utc_s))
    return simulated_bench(
        wiring=WIRING,
        seed=seed,
        plant=plant,
        world_file=world_file,
        clock=clock,
        wall_utc_s=lambda: wall_utc_s,
    )


def go(bench: SimulatedBench, seconds: float) -> None:
    for _ in range(int(seconds * 4)):
        bench.clock.wait_until(bench.clock.monotonic_s() + 0.25)
        bench.silicon.begin_pass(bench.clock.monotonic_s())


def test_a_killed_rig_wakes_in_the_same_bath(tmp_path: Path) -> None:
    bench = wake(tmp_path, wall_utc_s=START_UTC_S, plant=("series", 22.0))
    bench.hands({"do": "fit_sender", "plant": "leakage:100"})
    bench.hands({"do": "heater", "temperature_c": 60})
    go(bench, 200)
    bench.save()
    state = bench.silicon.world.state
    again = wake(tmp_path, wall_utc_s=START_UTC_S, seed=99, plant=None)
    woken = again.silicon.world.state
    assert woken.bath == state.bath
    assert woken.bodies == state.bodies
    assert woken.sender == state.sender
    assert (woken.plant, woken.sender_count, woken.seed) == (("leakage", 100.0), 1, 5)
    assert again.silicon.board == bench.silicon.board
    assert again.silicon.box == bench.silicon.box


def test_it_has_cooled_by_the_wall_time_it_was_away(tmp_path: Path) -> None:
    bench = wake(tmp_path, wall_utc_s=START_UTC_S)
    bench.silicon.world.fresh_water(80.0)
    bench.save()
    an_hour = wake(tmp_path, wall_utc_s=START_UTC_S + 3600.0)
    hour_c = an_hour.silicon.world.state.bath.bath_c
    assert bench.silicon.world.state.bath.room_c + 5 < hour_c < 70.0
    bench.save()
    a_week = wake(tmp_path, wall_utc_s=START_UTC_S + 7 * 86_400.0)
    rested = a_week.silicon.world.state.bath
    # evaporation keeps a jug at rest a little colder than its room
    assert rested.room_c - 2.0 < rested.bath_c < rested.room_c + 0.3


def test_a_heater_left_on_keeps_its_setting_while_nobody_looks(tmp_path: Path) -> None:
    bench = wake(tmp_path, wall_utc_s=START_UTC_S)
    bench.hands({"do": "heater", "temperature_c": 60})
    bench.save()
    woken = wake(tmp_path, wall_utc_s=START_UTC_S + 3600.0).silicon.world.state
    assert woken.bath.bath_c == pytest.approx(60.0 - woken.bath_parameters.thermostat_offset_k, abs=0.15)


def test_wall_time_that_went_back_does_not_un_cool_it(tmp_path: Path) -> None:
    bench = wake(tmp_path, wall_utc_s=START_UTC_S)
    bench.silicon.world.fresh_water(80.0)
    bench.save()
    assert wake(tmp_path, wall_utc_s=START_UTC_S - 9e5).silicon.world.state.bath.bath_c == 80.0


def test_simulated_utc_never_goes_back(tmp_path: Path) -> None:
    """Two hours of rig time in no wall time, then a kill and ten wall seconds."""
    bench = wake(tmp_path, wall_utc_s=START_UTC_S)
    bench.clock.wait_until(7200.0)
    bench.save()
    woken = wake(tmp_path, wall_utc_s=START_UTC_S + 10.0)
    assert woken.clock.utc_s() == START_UTC_S + 7210.0
    assert simulated_start_utc_s(tmp_path / "none.json", 123.0) == 123.0


def test_each_waking_has_its_own_noise(tmp_path: Path) -> None:
    counts = []
    for _ in range(3):
        bench = wake(tmp_path, wall_utc_s=START_UTC_S)
        counts.append(bench.sample().taps["sender.tap0"])
        bench.save()
    assert len(set(counts)) == 3


def test_a_save_replaces_the_file_whole(tmp_path: Path) -> None:
    bench = wake(tmp_path, wall_utc_s=START_UTC_S)
    go(bench, 1)
    bench.save()
    assert [path.name for path in tmp_path.iterdir() if path.is_file()] == ["world.json"]
    assert read_world(tmp_path / "world.json") is not None


@pytest.mark.parametrize("damage", ["cut", "format", "field"])
def test_a_world_that_cannot_be_taken_up_is_refused_in_words(tmp_path: Path, damage: str) -> None:
    wake(tmp_path, wall_utc_s=START_UTC_S)
    path = tmp_path / "world.json"
    text = path.read_text("utf-8")
    document = json.loads(text)
    if damage == "cut":
        text = text[: len(text) // 2]
    elif damage == "format":
        text = json.dumps({**document, "format": 99})
    else:
        del document["world"]["sender"]["tau_s"]
        text = json.dumps(document)
    path.write_text(text, "utf-8")
    with pytest.raises(SavedWorldError, match="Take a fresh data folder"):
        wake(tmp_path, wall_utc_s=START_UTC_S)
