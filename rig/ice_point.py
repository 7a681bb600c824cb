"""The probe in an ice slush: a minute on its cold range. What it should be, its certificate says."""

from dataclasses import dataclass
from statistics import fmean, pstdev

from calibration.contract.readings import Quality
from rig.bench import Bench
from rig.errors import RigError
from rig.wiring import Wiring

DURATION_S = 60.0
MOST_BAD_SHARE = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class IcePointReading:
    """Mean of a minute.

    Attributes
    ----------
    resistance_ohm, scatter_ohm : float
        Mean, and standard deviation of single passes. [Ω]
    drift_ohm_per_min : float
        Second half minus first half, for a minute; a slush that is ready does not drift. [Ω/min]
    range_error_ohm : float
        Most that the range can be off there, parts as bought: the decade box ends far below and does not
        check it. [Ω]
    """

    resistance_ohm: float
    scatter_ohm: float
    drift_ohm_per_min: float
    range_error_ohm: float
    readings: int


def read_ice_point(bench: Bench, wiring: Wiring, *, duration_s: float = DURATION_S) -> IcePointReading:
    """Read the probe on the range that only an order chooses; the range is given back afterwards.

    Raises
    ------
    RigError
        If the wiring has no such range, or readings cannot be used.
    """
    cold = [each for each in wiring.channels["probe"].ranges if each.ordered_only]
    if not cold:
        raise RigError("hardware/wiring.toml has no range of the probe for the ice point (ordered_only).")
    bench.set_probe_range(cold[0].reference_ohm)
    try:
        values, reason = _values(bench, wiring, duration_s)
    finally:
        bench.set_probe_range(None)
    count = round(duration_s / wiring.bench.pass_interval_s)
    if len(values) < (1.0 - MOST_BAD_SHARE) * count:
        raise RigError(f"Only {len(values)} of {count} readings of the probe could be used: {reason}.")
    half = len(values) // 2
    drift_ohm = fmean(values[half:]) - fmean(values[:half])
    resistance_ohm = fmean(values)
    return IcePointReading(
        resistance_ohm=resistance_ohm,
        scatter_ohm=pstdev(values),
        drift_ohm_per_min=drift_ohm / (duration_s / 2.0) * 60.0,
        range_error_ohm=wiring.worst_error("probe", cold[0], resistance_ohm) * resistance_ohm,
        readings=len(values),
    )


def _values(bench: Bench, wiring: Wiring, duration_s: float) -> tuple[list[float], str | None]:
    clock, values, reason = bench.clock, [], None
    for _ in range(round(duration_s / wiring.bench.pass_interval_s)):
        clock.wait_until(clock.monotonic_s() + wiring.bench.pass_interval_s)
        reading = bench.sample().channels["probe"]
        if reading.quality is Quality.GOOD and reading.value is not None:
            values.append(reading.value)
        else:
            reason = reading.reason
    return values, reason
