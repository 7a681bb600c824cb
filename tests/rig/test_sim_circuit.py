"""The simulated circuit against a solution of all its nodes at once, by Kirchhoff's current law."""

import math
from pathlib import Path

import numpy as np
import pytest

from rig.bench import SimulatedBench, simulated_bench
from rig.clock import SimulatedClock
from rig.sim.board import RealChannel, RealRange
from rig.wiring import load_wiring

WIRING = load_wiring()
CASES = [(name, number) for name, c in WIRING.channels.items() for number in range(len(c.ranges))]
PLACES = ("none", "sender", "probe", "series", "parallel")


class Nodes:
    """Conductances between named nodes; ``source`` is at 1 V and ``ground`` at 0."""

    def __init__(self) -> None:
        self._branches: list[tuple[str, str, float]] = []

    def join(self, first: str, second: str, ohm: float) -> None:
        self._branches.append((first, second, 1.0 / max(ohm, 1e-9)))

    def volts(self) -> dict[str, float]:
        names = sorted({n for branch in self._branches for n in branch[:2]} - {"source", "ground"})
        place = {name: number for number, name in enumerate(names)}
        matrix, right = np.zeros((len(names), len(names))), np.zeros(len(names))
        for first, second, conductance in self._branches:
            for here, there in ((first, second), (second, first)):
                if here not in place:
                    continue
                matrix[place[here], place[here]] += conductance
                if there in place:
                    matrix[place[here], place[there]] -= conductance
                elif there == "source":
                    right[place[here]] += conductance
        return dict(zip(names, np.linalg.solve(matrix, right), strict=True))


def node_above(each: RealRange) -> str:
    """Node at the top of a range's own resistor."""
    return f"above {each.nominal_ohm:g}"


def solved(channel: RealChannel, fed: RealRange, board_c: float, between_ohm: float) -> dict[int, float]:
    """Volts at the channel's converter inputs; inputs and switches that are open draw nothing."""
    nodes = Nodes()
    chained = {each.chain for each in channel.ranges if each.chain is not None}
    for each in channel.ranges:
        below = "tap 1" if each.chain is None else node_above(each.chain)
        nodes.join(node_above(each), below, each.own.at(board_c))
        nodes.join(node_above(each), "ground", 1e15)  # a node that hangs on nothing else
    nodes.join("source", node_above(fed), fed.above_tap0_ohm)
    nodes.join("tap 1", "tap 2", between_ohm)
    nodes.join("tap 2", "ground", fed.lift_ohm)
    volts = nodes.volts()
    found = {channel.tap1: volts["tap 1"], channel.tap2: volts["tap 2"]}
    for each in channel.ranges:
        if each not in chained:  # the top tap of a chain is at its upper end
            found[each.tap0] = volts[node_above(each)]
    return found


@pytest.fixture
def bench(tmp_path: Path) -> SimulatedBench:
    made = simulated_bench(
        wiring=WIRING, seed=3, plant=None, world_file=tmp_path / "w.json", clock=SimulatedClock()
    )
    yield made
    made.close()


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize(("name", "number"), CASES)
def test_every_input_stands_where_kirchhoff_puts_it(
    bench: SimulatedBench, name: str, number: int, place: str
) -> None:
    circuit, board = bench.silicon.circuit, bench.silicon.board
    channel, fed = board.channels[name], board.channels[name].ranges[number]
    box_bits = 0x1234 & 0x9999
    circuit.box_relays_changed(box_bits)
    for gpio, word in zip(circuit.relays.gpio_of_place, PLACES[1:], strict=True):
        circuit.pin_changed(gpio, word == place)
    circuit.pin_changed(fed.excitation_gpio, True)
    box_ohm = bench.silicon.box.resistance_ohm(box_bits, circuit.board_c)
    world = bench.silicon.world
    device_ohm = world.sender_ohm if name == "sender" else world.probe_ohm
    if place == name:
        device_ohm = box_ohm
    elif name == "sender" and place == "series":
        device_ohm += box_ohm + channel.contact_ohm
    elif name == "sender" and place == "parallel":
        device_ohm = 1 / (1 / device_ohm + 1 / (box_ohm + channel.contact_ohm))
    expected = solved(channel, fed, circuit.board_c, device_ohm + channel.clips_ohm)
    for tap, volt in expected.items():
        assert circuit.levels()[tap] / 4096 == pytest.approx(volt, abs=2e-7), f"input {tap}"


def test_the_top_tap_of_the_probe_shows_the_top_of_the_lower_range_too(bench: SimulatedBench) -> None:
    """Nothing flows in the upper resistor while the lower range is fed: by all nodes, not by assumption."""
    channel = bench.silicon.board.channels["probe"]
    low, high = sorted(channel.ranges, key=lambda each: each.nominal_ohm)
    found = solved(channel, low, 25.0, 10_000.0)
    loop_ohm = low.above_tap0_ohm + low.reference_at(25.0) + 10_000.0 + low.lift_ohm
    assert found[low.tap0] == pytest.approx(1 - low.above_tap0_ohm / loop_ohm, abs=1e-9)
    assert high.tap0 == low.tap0
    assert math.isclose(high.reference_at(25.0), low.own.at(25.0) + high.own.at(25.0))
