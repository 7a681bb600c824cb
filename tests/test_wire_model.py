"""Nothing stalls and nothing is lost silently, whatever happens on the wire and at both ends of it.

Thousands of schedules more: python tests/wire_model.py --schedules 3000
"""

import importlib.util
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

SCHEDULES = 100
# enough for a wire without one of its rules to fail, many times over
SPOILED_SCHEDULES = 40


def _model() -> ModuleType:
    name = "ohmbath_wire_model"
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name("wire_model.py"))
        assert spec is not None and spec.loader is not None
        sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    return sys.modules[name]


@pytest.fixture(scope="module")
def run() -> Iterator[Callable[[int], Counter[str]]]:
    """Run the schedule of a seed."""
    model = _model()
    with tempfile.TemporaryDirectory(dir=model.memory_folder()) as text:
        templates = model.make_templates(Path(text))

        def run_seed(seed: int) -> Counter[str]:
            folder = Path(text) / "schedule"
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir()
            deeds: Counter[str] = model.run_schedule(seed, folder, templates)
            return deeds

        yield run_seed


@pytest.mark.slow
def test_nothing_stalls_and_nothing_is_lost_silently(run: Callable[[int], Counter[str]]) -> None:
    happened: Counter[str] = Counter()
    for seed in range(1, SCHEDULES + 1):
        happened += run(seed)
    assert len(happened) >= 14, "every kind of mishap came up"


def _fails(run: Callable[[int], Counter[str]]) -> bool:
    for seed in range(1, SPOILED_SCHEDULES + 1):
        try:
            run(seed)
        except AssertionError:
            return True
    return False


@pytest.mark.slow
def test_without_declared_gaps_the_same_schedules_fail(
    run: Callable[[int], Counter[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rig.outbox.declare_holes", lambda *_, **__: 0)
    monkeypatch.setattr("rig.joining.declare_holes", lambda *_, **__: 0)
    assert _fails(run)


@pytest.mark.slow
def test_without_the_restore_epoch_the_same_schedules_fail(
    run: Callable[[int], Counter[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    def keep_epoch(self: Any, above: int = 0) -> int:
        return int(self.epoch)

    monkeypatch.setattr("host.store.identity.Identity.raise_epoch", keep_epoch)
    assert _fails(run)
