"""Readings of one window as a plateau of the science."""

import math
from collections.abc import Sequence

from calibration.bath.settling import slope_k_per_min
from calibration.bench_point import BenchSetup, Plateau
from calibration.contract.readings import Insertion, ReadingPack
from host.procedures.bench_setup import raw_count

#: Air beside the bath where no sensor told it; it only enters the small stem correction. [°C]
ASSUMED_AIR_C = 22.0


def is_usable(pack: ReadingPack) -> bool:
    """Tell whether a reading may enter a result: both channels good, no decade box in the circuit."""
    return pack.insertion is Insertion.NONE and all(
        pack.good_value(name) is not None for name in ("sender", "probe")
    )


def plateau_of(packs: Sequence[ReadingPack], setup: BenchSetup) -> Plateau:
    """Plateau of usable readings."""
    probe_c = [
        setup.probe.temperature_c(setup.probe_correction.corrected_ohm(raw_count(pack, "probe")))
        for pack in packs
    ]
    air_c = mean_of(packs, "ambient")
    return Plateau(
        sender_count=tuple(raw_count(pack, "sender") for pack in packs),
        probe_count=tuple(raw_count(pack, "probe") for pack in packs),
        sender_range_ohm=packs[0].range_ohm,
        slope_k_per_min=slope_k_per_min([pack.rig_time_s for pack in packs], probe_c),
        air_c=ASSUMED_AIR_C if air_c is None else air_c,
    )


def mean_of(packs: Sequence[ReadingPack], name: str) -> float | None:
    """Mean of a channel's good readings; None where there is none."""
    values = [value for pack in packs if (value := pack.good_value(name)) is not None]
    return math.fsum(values) / len(values) if values else None
