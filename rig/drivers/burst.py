"""A burst: single conversions of the sender, fifty a second, for a connector that is moved meanwhile."""

from dataclasses import dataclass

from calibration.contract.readings import BurstReading, ChannelReading
from rig.drivers.pacing import Pacer
from rig.drivers.resistance_channel import ResistanceChannel
from rig.errors import OrderRefused
from rig.wiring import SamplingPlan, Wiring

INTERVAL_S = 0.02
LONGEST_S = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BurstPoint:
    """One point of a burst.

    Attributes
    ----------
    time_s : float
        Rig time at which its excitation was switched on. [s]
    reading : ChannelReading
        Of single conversions, with no mains averaging.
    range_ohm : float
        Nominal reference resistor in use. [Ω]
    """

    time_s: float
    reading: ChannelReading
    range_ohm: float


def take_burst(
    channel: ResistanceChannel, pacer: Pacer, *, began_s: float, duration_s: float, wiring: Wiring
) -> tuple[BurstPoint, ...]:
    """Points every `INTERVAL_S`, stamped as they were taken.

    Raises
    ------
    OrderRefused
        If ``duration_s`` is not from one interval to `LONGEST_S`.
    """
    if not INTERVAL_S <= duration_s <= LONGEST_S:
        raise OrderRefused(f"A burst lasts {INTERVAL_S:g} to {LONGEST_S:g} s, not {duration_s:g} s.")
    plan = _plan(wiring)
    started_s = pacer.now_s()
    points = []
    for number in range(round(duration_s / INTERVAL_S)):
        early_s = number * INTERVAL_S - (pacer.now_s() - started_s)
        if early_s > 0:
            pacer.wait(early_s)
        at_s = pacer.now_s() - started_s
        sample = channel.burst_point(plan)
        points.append(BurstPoint(time_s=began_s + at_s, reading=sample.reading, range_ohm=sample.range_ohm))
    return tuple(points)


def burst_readings(points: tuple[BurstPoint, ...], now_s: float) -> tuple[BurstReading, ...]:
    """Points as a pack at rig time ``now_s`` carries them; those without a count say nothing. [s]"""
    return tuple(
        BurstReading(
            before_s=round(now_s - point.time_s, 3), raw=point.reading.raw, value=point.reading.value
        )
        for point in points
        if point.reading.raw is not None
    )


def _plan(wiring: Wiring) -> SamplingPlan:
    """One conversion of each tap, at the usual distance, within the usual duty."""
    usual = wiring.sampling
    conversions = 3 * (usual.discard + 1)
    room_s = INTERVAL_S * wiring.bench.duty_limit - usual.settle_s
    return SamplingPlan(
        settle_s=usual.settle_s,
        window_s=min(conversions * usual.interval_s, room_s),
        cycle_s=usual.cycle_s,
        rounds=1,
        block=1,
        discard=usual.discard,
    )
