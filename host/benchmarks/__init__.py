"""Benchmarks of the science, by name; each is imported only when asked for."""

import importlib

from host.benchmarks.report import Benchmark
from host.errors import DeskError

#: Each lives in host/benchmarks/<name>.py, which offers a `Benchmark` called `benchmark`.
BENCHMARKS = ("coverage", "minutes", "efficiency", "attribution", "speed", "circuit", "shop_year")


def load_benchmark(name: str) -> Benchmark:
    """Benchmark of that name.

    Raises
    ------
    DeskError
        If there is none.
    """
    if name not in BENCHMARKS:
        raise DeskError(f"There is no benchmark {name!r}. Choose one of {', '.join(BENCHMARKS)}.")
    benchmark: Benchmark = importlib.import_module(f"host.benchmarks.{name}").benchmark
    return benchmark
