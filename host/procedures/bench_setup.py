"""What stands behind the readings of a run: register snapshot and ohms check, as values of the science."""

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from calibration.bath.immersion import IMMERSIONS
from calibration.bench_point import BenchSetup
from calibration.contract.readings import Insertion, ReadingPack
from calibration.reference_probe import ReferenceProbe
from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.resistance.ohms_check import (
    BoxReading,
    RangeCorrection,
    correction_from_box,
    settings_for,
)
from calibration.thermistor.steinhart_hart import SteinhartHart
from host.citation import Citation
from host.procedures.ohms.box_setting import BoxSetting
from host.procedures.ohms.reused_check import MOVED_SINCE
from host.procedures.sender.sender_check_settings import SenderCheckSettings
from host.procedures.sender.sender_check_state import SenderCheckState

ReadingsOf = Callable[[Citation], Sequence[ReadingPack]]

# The circuit as hardware/wiring.toml has it; a test holds the two together.
SOURCE_V = 1.0
FIXED_SERIES_OHM = {2700.0: 102.0, 750.0: 119.0, 68.0: 65.95, 10200.0: 440.0}
DUTY = 0.25

CHANNEL_OF = {Insertion.SENDER: "sender", Insertion.PROBE: "probe"}


def probe_of(content: Mapping[str, Any]) -> ReferenceProbe:
    """Reference probe of a register entry."""
    return ReferenceProbe(
        curve=SteinhartHart(a=float(content["a"]), b=float(content["b"]), c=float(content["c"])),
        expanded_u_k=float(content["expanded_u_k"]),
        k=float(content["k"]),
        valid_from_c=float(content["valid_from_c"]),
        valid_to_c=float(content["valid_to_c"]),
    )


def decade_box_of(content: Mapping[str, Any]) -> DecadeBoxCertificate:
    """Decade box of a register entry; where steps state their own uncertainty, the largest stands for all."""
    return DecadeBoxCertificate(
        residual_ohm=float(content["residual_ohm"]),
        step_ohm={int(step["nominal_ohm"]): float(step["certified_ohm"]) for step in content["step"]},
        expanded_u_relative=_largest(content, "expanded_u_relative"),
        expanded_u_ohm=_largest(content, "expanded_u_ohm"),
        k=float(content["k"]),
    )


def _largest(content: Mapping[str, Any], name: str) -> float:
    stated = [float(part[name]) for part in (content, *content["step"]) if name in part]
    return max(stated, default=0.0)


def ohms_check_plan(settings: SenderCheckSettings) -> tuple[BoxSetting, ...]:
    """Settings of the decade box that check every range a run uses, in order."""
    return box_plan(
        settings.decade_box,
        sender_ranges_ohm=settings.sender_ranges_ohm,
        probe_range_ohm=settings.probe_range_ohm,
    )


def box_plan(
    decade_box: Mapping[str, Any], *, sender_ranges_ohm: Sequence[float], probe_range_ohm: float
) -> tuple[BoxSetting, ...]:
    """Settings of the decade box that check every range of both channels, in order."""
    box = decade_box_of(decade_box)
    channels = [(Insertion.SENDER, range_ohm) for range_ohm in sender_ranges_ohm]
    channels.append((Insertion.PROBE, probe_range_ohm))
    return tuple(
        BoxSetting(insertion=insertion, range_ohm=range_ohm, setting_ohm=setting)
        for insertion, range_ohm in channels
        for setting in settings_for(range_ohm, box)
    )


def corrections_of(
    state: SenderCheckState, readings_of: ReadingsOf
) -> Mapping[tuple[Insertion, float], RangeCorrection]:
    """Correction of each range, from the cited readings of the ohms check.

    Raises
    ------
    OhmsCheckError
        If a range is out of its limit.
    """
    return box_corrections(state.plan, state.box_read, state.started.decade_box, readings_of)


def box_corrections(
    plan: Sequence[BoxSetting],
    box_read: Sequence[Citation],
    decade_box: Mapping[str, Any],
    readings_of: ReadingsOf,
) -> Mapping[tuple[Insertion, float], RangeCorrection]:
    """Correction of each range from a plan, the readings it cites, and the box's register entry.

    Raises
    ------
    OhmsCheckError
        If a range is out of its limit.
    """
    box = decade_box_of(decade_box)
    found: dict[tuple[Insertion, float], list[BoxReading]] = {}
    for setting, citation in zip(plan, box_read, strict=True):
        channel = CHANNEL_OF[setting.insertion]
        counts = [raw_count(pack, channel) for pack in readings_of(citation)]
        reading = BoxReading(setting_ohm=setting.setting_ohm, count=math.fsum(counts) / len(counts))
        found.setdefault((setting.insertion, setting.range_ohm), []).append(reading)
    return {
        (insertion, range_ohm): correction_from_box(readings, reference_ohm=range_ohm, certificate=box)
        for (insertion, range_ohm), readings in found.items()
    }


def bench_setup_of(state: SenderCheckState, readings_of: ReadingsOf) -> BenchSetup:
    """Everything that stands behind the plateaus of a run."""
    settings = state.started
    corrections = corrections_of(state, readings_of)
    return BenchSetup(
        curve=settings.reference_curve,
        probe=probe_of(settings.probe),
        box=decade_box_of(settings.decade_box),
        sender_corrections=tuple(
            correction for (insertion, _), correction in corrections.items() if insertion is Insertion.SENDER
        ),
        probe_correction=corrections[Insertion.PROBE, settings.probe_range_ohm],
        immersion=IMMERSIONS[state.immersion],
        gradient_half_width_k=settings.gradient_half_width_k,
        source_v=SOURCE_V,
        fixed_series_ohm=FIXED_SERIES_OHM,
        duty=DUTY,
        moved_since_check=0.0 if settings.ohms_check is None else MOVED_SINCE,
    )


def raw_count(pack: ReadingPack, channel: str) -> float:
    """Ratio count of a channel.

    Raises
    ------
    ValueError
        If the pack has none.
    """
    raw = pack.channels[channel].raw
    if raw is None:
        raise ValueError(f"Reading {pack.seq} of boot {pack.boot} has no count for the {channel}.")
    return raw
