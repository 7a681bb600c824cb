"""ohmbath benchmark: what the science reaches, measured and written down."""

import platform
import time
from pathlib import Path
from typing import Any

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from host.benchmarks import BENCHMARKS, load_benchmark
from host.benchmarks.report import BenchmarkResult, json_of, markdown
from host.one_line import OneLineCommand


@click.group("benchmark")
def command() -> None:
    """Measure what the bench reaches, against goals."""


@command.command("science", cls=OneLineCommand)
@click.option(
    "--seed", type=click.IntRange(min=0), default=1, show_default=True, help="All chance comes from it."
)
@click.option(
    "--only", type=click.Choice(BENCHMARKS), multiple=True, help="Only this one; may be given several times."
)
@click.option("--quick", is_flag=True, help="A short form, seconds instead of minutes.")
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("benchmark"),
    show_default=True,
    help="Folder for tables, JSON and figures.",
)
def science(seed: int, only: tuple[str, ...], quick: bool, out: Path) -> None:
    """Coverage, minutes, efficiency, attribution and speed of the science, on simulated benches.

    Each writes a table (Markdown), a JSON file and a figure (SVG). The exit code is 3 where a goal is not
    reached.
    """
    out.mkdir(parents=True, exist_ok=True)
    machine = machine_words()
    sections, missed = [], 0
    for name in only or BENCHMARKS:
        began = time.monotonic()
        result = _run(name, seed=seed, quick=quick)
        seconds = time.monotonic() - began
        section = markdown(result, machine=machine, seconds=seconds)
        (out / f"{name}.md").write_text(section, "utf-8")
        (out / f"{name}.json").write_text(json_of(result, machine=machine, seconds=seconds), "utf-8")
        _save_figure(result, out / f"{name}.svg")
        click.echo(section)
        sections.append(section)
        missed += sum(merit.reached is False for merit in result.merits)
    (out / "science.md").write_text("# What the benchmarks showed\n\n" + "\n".join(sections), "utf-8")
    click.echo(f"Written to {out}.", err=True)
    if missed:
        click.echo(f"{missed} {'goal is' if missed == 1 else 'goals are'} not reached.", err=True)
        raise SystemExit(3)


def machine_words() -> str:
    """Processor, cores and interpreter, in a few words."""
    return f"{_processor()}, Python {platform.python_version()}, {platform.system()}"


def _processor() -> str:
    try:
        lines = Path("/proc/cpuinfo").read_text("utf-8", errors="replace").splitlines()
    except OSError:
        return platform.machine()
    models = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    count = max(len(models), sum(line.startswith("processor") for line in lines))
    return f"{count} × {models[0] if models else platform.machine()}"


def _run(name: str, *, seed: int, quick: bool) -> BenchmarkResult:
    console = Console(stderr=True)
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeElapsedColumn(),
    )
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task(name, total=None)

        def told(done: int, total: int, words: str) -> None:
            bar.update(task, completed=done, total=total, description=f"{name}: {words}")

        return load_benchmark(name).run(seed=seed, quick=quick, progress=told)


def _save_figure(result: BenchmarkResult, path: Path) -> None:
    import matplotlib  # late: the import takes over a second
    from matplotlib.figure import Figure

    settings: dict[Any, Any] = {"svg.hashsalt": "ohmbath", "font.size": 9.0}
    with matplotlib.rc_context(settings):
        figure = Figure(figsize=(7.0, 4.0), layout="constrained")
        result.draw(figure)
        figure.suptitle(result.title, fontsize=9)
        figure.savefig(path, format="svg", metadata={"Date": None, "Creator": None})
