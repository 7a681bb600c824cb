"""What a benchmark says: goals, tables, JSON, and that each is found by its name."""

import json
import math

import pytest

from host.benchmarks import BENCHMARKS, load_benchmark
from host.benchmarks.report import BenchmarkResult, FigureOfMerit, Goal, json_of, markdown
from host.errors import DeskError

RESULT = BenchmarkResult(
    name="sample",
    title="A sample",
    seed=3,
    counts="12 tries",
    columns=("way", "°C"),
    rows=(("plateau", "60"),),
    merits=(
        FigureOfMerit(name="share", value=0.96, goal=0.945, goal_is=Goal.AT_LEAST),
        FigureOfMerit(name="ratio", value=1.3, goal=1.2),
        FigureOfMerit(name="reported", value=7.0),
    ),
    draw=lambda figure: None,
)


@pytest.mark.parametrize(
    ("value", "goal_is", "reached"),
    [
        (0.945, Goal.AT_LEAST, True),
        (0.9449, Goal.AT_LEAST, False),
        (0.945, Goal.AT_MOST, True),
        (0.946, Goal.AT_MOST, False),
        (math.nan, Goal.AT_LEAST, False),
        (math.nan, Goal.AT_MOST, False),
    ],
)
def test_a_goal_is_reached_or_not(value: float, goal_is: Goal, reached: bool) -> None:
    assert FigureOfMerit(name="x", value=value, goal=0.945, goal_is=goal_is).reached is reached


def test_a_number_without_a_goal_reaches_nothing() -> None:
    assert FigureOfMerit(name="x", value=1.0).reached is None


def test_the_table_says_what_is_not_reached() -> None:
    said = markdown(RESULT, machine="a machine", seconds=4.0)
    assert "12 tries; seed 3; 4 s on a machine." in said
    assert "| ratio | 1.3 | at most 1.2 | NO |" in said
    assert "| share | 0.96 | at least 0.945 | yes |" in said


def test_the_json_holds_the_same_and_nothing_that_is_not_json() -> None:
    fields = json.loads(json_of(RESULT, machine="a machine", seconds=4.0))
    assert [merit["reached"] for merit in fields["figures_of_merit"]] == [True, False, None]
    assert fields["table"] == [{"way": "plateau", "°C": "60"}]


def test_every_benchmark_is_found_by_its_name_and_no_other() -> None:
    for name in BENCHMARKS:
        assert load_benchmark(name).name == name
    with pytest.raises(DeskError, match="coverage"):
        load_benchmark("astrology")
