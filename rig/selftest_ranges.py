"""Self-test of the ranges: each reads the box within its stated error over its span."""

from calibration.contract.readings import Insertion
from rig.selftest_trial import Trial, range_name
from rig.wiring import RangeWiring

RATIOS = (0.2, 0.35, 0.5, 0.65, 0.8)
BOX_PERCENT = 0.1  # its resistors as bought
MARGIN_PERCENT = 0.15
ALLOWANCE_OHM = 0.3
PLACE_OF = {"sender": Insertion.SENDER, "probe": Insertion.PROBE}


def judge_ranges(trial: Trial) -> None:
    """Read the box over each span; a fault on both channels is the converter's, on one a resistor's."""
    if not trial.can_measure or trial.is_noisy or trial.box_is_off:
        trial.leave_out("reference resistors", "the box cannot be relied on as it is")
        return
    worst: dict[tuple[str, RangeWiring], float] = {}
    for channel, ranges in trial.live.items():
        if trial.closes.get(PLACE_OF[channel], False):
            trial.bench.set_insertion(PLACE_OF[channel])
            worst |= {(channel, each): _worst_share(trial, channel, each) for each in ranges}
    failed = {key for key, share in worst.items() if abs(share) > 1.0}
    if {channel for channel, _ in failed} == set(trial.wiring.channels):
        found = ", ".join(range_name(channel, each) for channel, each in failed)
        trial.bad(
            "converter", f"both channels read the box wrong ({found}): the converter itself, its reference"
        )
        return
    for (channel, each), share in worst.items():
        if (channel, each) in failed and _stands_on_failed(channel, each, failed):
            trial.leave_out(
                f"reference resistor, {range_name(channel, each)}", "it stands on top of the one that failed"
            )
            continue
        trial.judge(
            f"reference resistor, {range_name(channel, each)}",
            (channel, each) not in failed,
            f"it reads the box wrong by {abs(share):.1f} times what it may: the part, then dirt across it",
        )


def _stands_on_failed(channel: str, each: RangeWiring, failed: set[tuple[str, RangeWiring]]) -> bool:
    """Tell whether a smaller reference of the same chain is off, which is in this one too."""
    return any(
        name == channel and other.tap0 == each.tap0 and other.reference_ohm < each.reference_ohm
        for name, other in failed
    )


def _worst_share(trial: Trial, channel: str, each: RangeWiring) -> float:
    """Largest departure from the box over what is allowed at that setting."""
    low_ohm, high_ohm = trial.wiring.reportable.span_ohm(each)
    shares = []
    for ratio in RATIOS:
        setting_ohm = round(each.reference_ohm * ratio / (1.0 - ratio))
        if not low_ohm < setting_ohm < min(high_ohm, 9999.0):
            continue
        expected_ohm = setting_ohm + trial.residual_ohm
        found_ohm = trial.mean_ohm(channel, each, float(setting_ohm))
        percent = each.stated_error_percent + BOX_PERCENT + MARGIN_PERCENT
        allowed_ohm = percent / 100.0 * expected_ohm + ALLOWANCE_OHM
        shares.append(abs(found_ohm - expected_ohm) / allowed_ohm)
    return max(shares)
