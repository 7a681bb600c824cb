"""The self-test: every chip, relay and range of a bench, with the decade box as the known resistance.

It knows the wiring file and what the bench says, and nothing else: on simulated silicon it is as blind to
what was planted as it is on metal to what broke.
"""

import textwrap
from collections.abc import Callable

from rig.bench import Bench
from rig.errors import RelayError
from rig.selftest_box import judge_box_steps
from rig.selftest_chips import judge_button, judge_converter, judge_infrared, judge_probe, judge_witness
from rig.selftest_places import judge_excitation, judge_noise, judge_places, judge_welded_places
from rig.selftest_ranges import judge_ranges
from rig.selftest_trial import PartVerdict, SelfTestReport, Trial
from rig.wiring import Wiring

__all__ = ["PartVerdict", "SelfTestReport", "report_lines", "run_selftest"]

LINE = 78

# Each stage judges some parts and may find that later ones cannot be judged.
STAGES: tuple[Callable[[Trial], None], ...] = (
    judge_converter,
    judge_excitation,
    judge_welded_places,
    judge_probe,
    judge_places,
    judge_noise,
    judge_box_steps,
    judge_ranges,
    judge_infrared,
    judge_witness,
    judge_button,
)


def run_selftest(bench: Bench, wiring: Wiring) -> SelfTestReport:
    """Judge every part that can be judged from inside; everything is off afterwards.

    Parameters
    ----------
    bench : Bench
        On metal or simulated. It takes some 75 s of its clock; relays click.
    wiring : Wiring
        What the bench should be.
    """
    trial = Trial(bench, wiring)
    try:
        _judge_relay_chip(trial)
        for stage in STAGES:
            stage(trial)
    finally:
        _leave(trial)
    trial.leave_out("status light", "look whether it flashes once a second while the rig runs")
    trial.leave_out("sender", "it is what the bench judges, not a part of it")
    return trial.report()


def _judge_relay_chip(trial: Trial) -> None:
    """The chip that drives the box must hold what is written."""
    try:
        for setting_ohm in (9999.0, 0.0):
            trial.bench.set_decade(setting_ohm)
    except RelayError as error:
        trial.bad("relay chip", f"{error}")
        trial.box_answers = False
    else:
        trial.good("relay chip")


def _leave(trial: Trial) -> None:
    trial.bench.set_range(None)
    trial.bench.set_probe_range(None)
    try:
        trial.bench.safe()
    except RelayError:
        trial.box_answers = False  # said already, under its own name


def report_lines(report: SelfTestReport) -> list[str]:
    """One page: what failed and what to check first, then what is good, then what could not be judged."""
    failed = [each for each in report.parts if not each.ok]
    good = [each.part for each in report.parts if each.ok]
    lines = [_verdict_line(report, len(failed))]
    for each in failed:
        lines += ["", f"✗ {each.part}", *_wrapped(f"check first: {each.check_first}", "    ")]
    lines += ["", f"✓ good: {len(good)} parts"]
    for kind, names in _by_kind(good).items():
        lines += _wrapped(f"{kind}: {'; '.join(names)}" if names else kind, "    ")
    if report.not_judged:
        lines += ["", "– not judged:"]
        for part, why in report.not_judged:
            lines += _wrapped(f"{part}: {why}", "    ")
    return lines


def _verdict_line(report: SelfTestReport, failed: int) -> str:
    where = "simulated bench" if report.simulated else "bench"
    if failed == 0:
        return f"Self-test of the {where}: all good."
    return f"Self-test of the {where}: {failed} {'part' if failed == 1 else 'parts'} failed."


def _by_kind(parts: list[str]) -> dict[str, list[str]]:
    """Parts of one kind together; what they are called among themselves stands after the first comma."""
    found: dict[str, list[str]] = {}
    for part in parts:
        kind, _, name = part.partition(", ")
        found.setdefault(kind, []).extend([name] if name else [])
    return found


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, width=LINE, initial_indent=indent, subsequent_indent=indent + "  ")
