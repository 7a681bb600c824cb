"""The self-test sees what it says it sees, names the part, and is quiet about a sound bench."""

import ast
import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

import rig.selftest
from rig.bench import simulated_bench
from rig.cli import main
from rig.clock import SimulatedClock
from rig.selftest import SelfTestReport, report_lines, run_selftest
from rig.sim.plants import PLANTS, part_of
from rig.wiring import load_wiring

pytestmark = pytest.mark.slow

WIRING = load_wiring()
# Of sixteen relays those at the ends of the decades; of everything else all.
MIDDLE_OHM = (2.0, 4.0, 20.0, 40.0, 100.0, 200.0, 400.0, 800.0, 2000.0, 4000.0)
OTHER_SIZES = [
    (kind.name, size)
    for kind in PLANTS.values()
    for size in kind.choices or ()
    if size not in (0.0, kind.size) and not (kind.name.startswith("box") and size in MIDDLE_OHM)
]

Test = Callable[..., SelfTestReport]


@pytest.fixture
def selftest(tmp_path: Path) -> Test:
    def run(*, seed: int = 1, plant: tuple[str, float] | None = None) -> SelfTestReport:
        bench = simulated_bench(
            wiring=WIRING,
            seed=seed,
            plant=plant,
            world_file=tmp_path / f"{seed}-{plant}" / "world.json",
            clock=SimulatedClock(start_utc_s=1_800_000_000.0),
        )
        try:
            report = run_selftest(bench, WIRING)
            assert bench.clock.monotonic_s() < 120.0  # two minutes, relays clicking
            assert bench.sample().insertion.value == "none"
        finally:
            bench.close()
        return report

    return run


def failed(report: SelfTestReport) -> list[str]:
    assert all(part.ok == (part.check_first is None) for part in report.parts)
    assert len({part.part for part in report.parts}) == len(report.parts)
    return [part.part for part in report.parts if not part.ok]


@pytest.mark.parametrize("kind", PLANTS.values(), ids=lambda kind: f"{kind.name}:{kind.size:g}")
def test_every_plant_is_seen_and_named_or_is_none_of_the_bench_s_business(selftest: Test, kind) -> None:
    plant = (kind.name, kind.size)
    assert failed(selftest(plant=plant)) == ([part_of(plant)] if kind.selftest else [])


@pytest.mark.slow
@pytest.mark.parametrize("plant", OTHER_SIZES, ids=lambda plant: f"{plant[0]}:{plant[1]:g}")
def test_every_relay_and_switch_that_can_fail_is_named(selftest: Test, plant: tuple[str, float]) -> None:
    assert failed(selftest(plant=plant)) == [part_of(plant)]


@pytest.mark.slow
@pytest.mark.parametrize("name", [kind.name for kind in PLANTS.values() if kind.selftest])
def test_a_plant_is_named_on_a_bench_of_other_parts_too(selftest: Test, name: str) -> None:
    plant = (name, PLANTS[name].size)
    assert failed(selftest(plant=plant, seed=4)) == [part_of(plant)]


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(2, 12))
def test_sound_benches_of_any_make_pass(selftest: Test, seed: int) -> None:
    assert failed(selftest(seed=seed)) == []


def test_every_relay_range_and_chip_of_the_wiring_is_judged(selftest: Test) -> None:
    parts = {part.part for part in selftest().parts}
    for step_ohm in WIRING.decade_box.step_ohm:
        assert f"decade box relay, {step_ohm} ohm" in parts
    for name, channel in WIRING.channels.items():
        for each in channel.ranges:
            assert f"excitation, {name}, {each.reference_ohm:g} ohm range" in parts
            assert f"reference resistor, {name}, {each.reference_ohm:g} ohm range" in parts
    for place in ("sender", "probe", "series", "parallel"):
        assert f"insertion relay, {place}" in parts
    assert parts >= {
        "converter",
        "converter supply",
        "relay chip",
        "infrared sensor",
        "witness",
        "button",
        "probe",
    }


def test_the_self_test_cannot_look_at_what_was_planted() -> None:
    """None of its modules imports the simulation, and none asks a bench for what only a simulated one has."""
    folder = Path(rig.selftest.__file__).parent
    modules = sorted(folder.glob("selftest*.py"))
    assert len(modules) == 6
    for module in modules:
        for node in ast.walk(ast.parse(module.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom):
                assert not (node.module or "").startswith("rig.sim"), module.name
            if isinstance(node, ast.Attribute):
                assert node.attr not in ("silicon", "world", "hands"), module.name


def test_a_page_holds_the_report_and_says_what_to_check_first(selftest: Test) -> None:
    lines = report_lines(selftest(plant=("excitation_dead", 750.0)))
    assert len(lines) <= 45
    assert max(map(len, lines)) <= 80
    assert lines[0] == "Self-test of the simulated bench: 1 part failed."
    assert lines[2] == "✗ excitation, sender, 750 ohm range"
    assert "GPIO 27" in lines[3] + lines[4]
    assert any("not judged" in line for line in lines)


def run_command(*options: str) -> tuple[int, str]:
    done = CliRunner().invoke(main, ["selftest", *options])
    return done.exit_code, done.output


def test_the_command_ends_with_0_for_a_sound_bench_and_1_with_the_part_for_another() -> None:
    code, words = run_command("--simulate")
    assert code == 0
    assert words.startswith("Self-test of the simulated bench: all good.")
    code, words = run_command("--simulate", "--plant", "witness_crc", "--json")
    assert code == 1
    found = json.loads(words)
    assert found["simulated"] is True
    bad = [part for part in found["parts"] if not part["ok"]]
    assert [set(part) for part in found["parts"]] == [{"part", "ok", "check_first"}] * len(found["parts"])
    assert [part["part"] for part in bad] == ["witness"]
    assert "checksum" in bad[0]["check_first"]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--plant", "witness_crc"], "add --simulate"),
        (["--simulate", "--plant", "rust:1"], "There is no fault called 'rust'"),
        ([], "there is no GPIO here"),
    ],
)
def test_a_self_test_that_cannot_run_ends_with_2(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, options: list[str], words: str
) -> None:
    monkeypatch.setattr("rig.bench_here._GPIO_DEVICE", tmp_path / "no-gpio")
    code, said = run_command(*options)
    assert code == 2
    assert words in said


def test_the_plants_say_whether_the_self_test_sees_them() -> None:
    done = CliRunner().invoke(main, ["plants", "--json"])
    listed = json.loads(done.output)["plants"]
    assert {plant["name"] for plant in listed} == set(PLANTS)
    for plant in listed:
        assert {"name", "unit", "part", "selftest", "effect"} <= plant.keys()
        assert plant["selftest"] is PLANTS[plant["name"]].selftest
        assert plant["effect"]
        assert "{" not in plant["part"]
