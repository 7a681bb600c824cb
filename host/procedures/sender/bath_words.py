"""What a step card says of the bath while it waits."""

from calibration.bath.settling import SLOPE_LIMIT_K_PER_MIN
from host.procedures.sender.plateau_watch import BathStatus

_NEAR_K = 1.5


def is_near(bath: BathStatus, set_point_c: float) -> bool:
    """Tell whether the bath has all but come to a temperature."""
    return bath.probe_c is not None and abs(bath.probe_c - set_point_c) <= _NEAR_K


def settling_words(bath: BathStatus) -> str:
    """Why it waits for the bath, and for how long."""
    channels = [channel for channel in (bath.probe, bath.sender) if channel is not None and channel.full]
    if not channels:
        return "Settling: not enough readings yet, under a minute."
    slope = max(abs(channel.slope_k_per_min) for channel in channels)
    waits = [channel.wait_s for channel in channels if channel.wait_s is not None]
    if slope <= SLOPE_LIMIT_K_PER_MIN:
        return "Settled in slope; waiting for the scatter to calm down."
    if len(waits) < len(channels):
        return f"Settling: {slope:.2f} K/min, {SLOPE_LIMIT_K_PER_MIN:.2f} is needed."
    minutes = max(waits) / 60.0
    estimate = "under a minute" if minutes < 1.0 else f"about {minutes:.0f} min"
    return f"Settling: {slope:.2f} K/min, {estimate}."
