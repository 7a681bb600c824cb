"""From the readings of a closed loop to judged points."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.bath.loop import LoopFit
from calibration.bench_loop import BenchLoop, fit_bench_loop, judge_loop
from calibration.bench_stand import BenchPoint, BenchSetup
from calibration.contract.readings import ReadingPack
from host.procedures.bench_setup import ReadingsOf, raw_count
from host.procedures.sender.plateau_of_packs import ASSUMED_AIR_C, is_usable, mean_of
from host.procedures.sender.sender_check_state import SenderCheckState

#: The last seconds of a rest, in which every thermometer has come up to the bath. [s]
_HELD_S = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedLoop:
    """A loop at the set points.

    Attributes
    ----------
    points : tuple[BenchPoint, ...]
    held : tuple[tuple[ReadingPack, ...], ...]
        For each point the end of the rest nearest to it, where no thermometer lags.
    beyond_k : tuple[float, ...]
        For each point how far it lies above the bath of that rest. [K]
    packs : tuple[ReadingPack, ...]
        All readings of the loop that may be used.
    fit : LoopFit
    """

    points: tuple[BenchPoint, ...]
    held: tuple[tuple[ReadingPack, ...], ...]
    beyond_k: tuple[float, ...]
    packs: tuple[ReadingPack, ...]
    fit: LoopFit

    @property
    def words(self) -> str:
        """What the fit found, as a condition of the measurement."""
        heating, lags = self.fit.heating, self.fit.lags
        minutes = (self.packs[-1].rig_time_s - self.packs[0].rig_time_s) / 60.0
        return (
            f"one heating of {minutes:.0f} min from {self.fit.valid_from_c:.0f} to "
            f"{self.fit.valid_to_c:.0f} °C at {heating.rate_k_per_min:.1f} K/min, with {len(heating.pauses)} "
            f"rests and {heating.top_s:.0f} s at the top; lag of the sender {lags.sender_s:.1f} s, of the "
            f"probe {lags.probe_s:.1f} s, their difference uncertain by {self.fit.lag_doubt_k:.3f} K"
        )


def judged_loop_of(state: SenderCheckState, setup: BenchSetup, readings_of: ReadingsOf) -> JudgedLoop:
    """Judge a closed loop at the set points of its run.

    Raises
    ------
    LoopError
        If the readings do not tell the lags from the curve; says what the next loop needs.
    BenchPointError
        If the bath was where the probe's certificate says nothing.
    CurveRangeError
        If the loop did not go to a set point.
    """
    if state.loop_readings is None:
        raise ValueError("This loop is not closed.")
    packs = tuple(pack for pack in readings_of(state.loop_readings) if is_usable(pack))
    loop = _bench_loop(state, packs)
    fit = fit_bench_loop(loop, setup)
    settings = state.started
    points = judge_loop(
        fit,
        loop,
        setup,
        temperatures_c=settings.set_points_c,
        rule=settings.decision_rule,
        limit_k=settings.limit_k,
    )
    rests = _ends_of_rests(loop, packs, setup)
    nearest = [min(rests, key=lambda rest: abs(rest[0] - point.probe_c)) for point in points]
    return JudgedLoop(
        points=points,
        held=tuple(held for _, held in nearest),
        beyond_k=tuple(point.probe_c - at_c for point, (at_c, _) in zip(points, nearest, strict=True)),
        packs=packs,
        fit=fit,
    )


def _bench_loop(state: SenderCheckState, packs: Sequence[ReadingPack]) -> BenchLoop:
    if state.loop is None:
        raise ValueError("This run has no loop.")
    air_c = mean_of(packs, "ambient")
    return BenchLoop(
        time_s=tuple(pack.rig_time_s for pack in packs),
        sender_count=tuple(raw_count(pack, "sender") for pack in packs),
        probe_count=tuple(raw_count(pack, "probe") for pack in packs),
        sender_range_ohm=tuple(pack.range_ohm for pack in packs),
        air_c=ASSUMED_AIR_C if air_c is None else air_c,
        heater_off=state.loop.heater_off(state.loop_end_s),
    )


def _ends_of_rests(
    loop: BenchLoop, packs: Sequence[ReadingPack], setup: BenchSetup
) -> list[tuple[float, tuple[ReadingPack, ...]]]:
    """Mean of the bath over the end of each rest, with its readings."""
    ends = []
    for _, to_s in loop.heater_off or ():
        held = tuple(pack for pack in packs if to_s - _HELD_S <= pack.rig_time_s <= to_s)
        if held:
            baths = [
                setup.probe.temperature_c(setup.probe_correction.corrected_ohm(raw_count(pack, "probe")))
                for pack in held
            ]
            ends.append((math.fsum(baths) / len(baths), held))
    return ends
