"""The circuit's benchmark in its quick form, and that it speaks of the circuit as wired."""

import json

import pytest
from matplotlib.figure import Figure

from host.benchmarks import load_benchmark
from host.benchmarks.circuit import WIRED
from host.benchmarks.report import json_of, no_progress
from rig.wiring import load_wiring

pytestmark = pytest.mark.slow

WIRING = load_wiring()


def test_the_benchmark_speaks_of_the_circuit_as_wired():
    channel = WIRING.channels["sender"]
    assert set(WIRED) == {each.reference_ohm for each in channel.ranges}
    for each in channel.ranges:
        circuit = WIRED[each.reference_ohm]
        assert circuit.source_v == WIRING.converter.reference_v
        assert (circuit.ballast_ohm, circuit.lift_ohm) == (each.ballast_ohm, channel.lift_ohm(each))


def test_the_quick_form_reaches_its_goal_on_the_curve_and_can_be_drawn():
    result = load_benchmark("circuit").run(seed=4, quick=True, progress=no_progress)
    assert result.merits[0].reached
    assert len(result.rows) == 5
    assert all(len(row) == len(result.columns) for row in result.rows)
    assert json.loads(json_of(result, machine="a test", seconds=1.0))["data"]["ranked"]["1"]
    figure = Figure()
    result.draw(figure)
    assert figure.axes[0].get_legend() is not None
