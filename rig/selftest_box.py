"""Self-test of the decade box: each of its sixteen relays adds its step, and only then."""

import math

from calibration.contract.readings import Insertion
from rig.selftest_trial import Trial
from rig.wiring import RangeWiring

SHARE_OF_A_STEP = 0.12
ALLOWANCE_OHM = 0.3
# Sixteen closed contacts and the leads: an ohm at most.
MOST_RESIDUAL_OHM = 1.25
GAUGE_BELOW_OHM = 300.0


def judge_box_steps(trial: Trial) -> None:
    """Read a base with and without each step, in the range that shows the step best."""
    if not trial.can_measure:
        trial.leave_out("decade box relays", "the box cannot be read through the sender's channel")
        return
    trial.bench.set_insertion(Insertion.SENDER)
    offset_ohm = _offset_ohm(trial)
    stays_open = _nearest_step(trial, offset_ohm)
    trial.box_is_off = stays_open is not None
    if stays_open is not None and stays_open >= 100:
        trial.bad(_name(stays_open), _STAYS_OPEN)
        trial.leave_out("other decade box relays", "the box is too far off to see them")
        return
    stuck = _STAYS_OPEN if stays_open is not None else _STAYS_CLOSED
    for decade, base_ohm in BASE_OHM.items():
        _judge_decade(trial, [weight * decade for weight in (1, 2, 4, 8)], base_ohm, stuck)


# What each decade is added to, so that it is well read; no step of the decade is in it, so that adding one
# moves no other relay.
BASE_OHM = {1: 30, 10: 9, 100: 90, 1000: 900}

_STAYS_OPEN = "its step always counts: the contact does not close again, or its driver is shorted"
_STAYS_CLOSED = "its step never counts: its driver, its coil, a welded contact"


def _offset_ohm(trial: Trial) -> float:
    """The box with nothing switched in."""
    offset_ohm = trial.mean_ohm("sender", trial.main_range("sender"), 0.0)
    gauge = _range_for(trial, 1)
    if offset_ohm < GAUGE_BELOW_OHM and gauge is not None:
        offset_ohm = trial.mean_ohm("sender", gauge, 0.0)
    if offset_ohm <= MOST_RESIDUAL_OHM:
        trial.residual_ohm = offset_ohm
    return offset_ohm


def _nearest_step(trial: Trial, offset_ohm: float) -> int | None:
    if offset_ohm <= MOST_RESIDUAL_OHM:
        return None
    return min(trial.wiring.decade_box.step_ohm, key=lambda step: abs(math.log(offset_ohm / step)))


def _judge_decade(trial: Trial, steps_ohm: list[int], base_ohm: int, stuck: str) -> None:
    range_wiring = _range_for(trial, steps_ohm[0])
    if range_wiring is None:
        trial.leave_out(
            f"decade box relays, {steps_ohm[0]} to {steps_ohm[-1]} ohm",
            "the range that shows them does not work",
        )
        return
    before_ohm = trial.mean_ohm("sender", range_wiring, float(base_ohm))
    for step_ohm in steps_ohm:
        after_ohm = trial.mean_ohm("sender", range_wiring, float(base_ohm + step_ohm))
        missing_ohm = abs(after_ohm - before_ohm - step_ohm)
        good = missing_ohm <= SHARE_OF_A_STEP * step_ohm + ALLOWANCE_OHM
        trial.judge(_name(step_ohm), good, stuck)
        trial.box_is_off |= not good


def _name(step_ohm: int) -> str:
    return f"decade box relay, {step_ohm} ohm"


def _range_for(trial: Trial, step_ohm: int) -> RangeWiring | None:
    """Range of the sender that shows a step best, if it works."""
    ranges = sorted(trial.wiring.channels["sender"].ranges, key=lambda each: each.reference_ohm)
    wanted = ranges[0] if step_ohm < 100 else ranges[1] if step_ohm < 1000 else ranges[-1]
    return wanted if wanted in trial.live["sender"] else None
