"""What a bench's converter makes of resistances, and how its ohms check sets it right."""

import numpy as np
from numpy.typing import NDArray

from calibration.bath.immersion import HEX_UNDER_WATER
from calibration.bench_stand import BenchSetup
from calibration.resistance.ohms_check import BoxReading, RangeCorrection, correction_from_box, settings_for
from calibration.resistance.three_tap import FULL_SCALE_COUNT
from host.benchmarks.world import (
    BOX,
    HIGH_RANGE_OHM,
    LOW_RANGE_OHM,
    PROBE,
    PROBE_RANGE_OHM,
    RANGE_CHANGE_OHM,
    Array,
    Benches,
    reference_curve,
)

#: As wired (hardware/wiring.toml): excitation, ballast and lift by range, share of the time. [V], [Ω], [1]
SOURCE_V = 1.0
FIXED_SERIES_OHM = {2700.0: 102.0, 750.0: 119.0}
DUTY = 0.25

#: As declared where nothing was measured. [K]
GRADIENT_HALF_WIDTH_K = 0.06

#: Noise of a setting's mean: some twenty readings. [1]
_MEAN_OF_A_SETTING = 0.22


def heat_k(ohm: Array, reference_ohm: Array | float, w_per_k: Array) -> Array:
    """Self-heating of a device. [K]"""
    series = np.where(
        np.asarray(reference_ohm) == LOW_RANGE_OHM, *(FIXED_SERIES_OHM[r] for r in (750.0, 2700.0))
    )
    current = SOURCE_V / (series + reference_ohm + ohm)
    rise: Array = current**2 * ohm * DUTY / w_per_k
    return rise


def sender_range(ohm: Array) -> Array:
    """Range that the rig reads a sender on. [Ω]"""
    chosen: Array = np.where(ohm < RANGE_CHANGE_OHM, LOW_RANGE_OHM, HIGH_RANGE_OHM)
    return chosen


def counts(
    benches: Benches,
    ohm: Array,
    reference_ohm: Array | float,
    part: Array,
    chance: np.random.Generator | None,
) -> Array:
    """Ratio counts of resistances; first axis: benches. Noise only where chance is given. [count]"""
    shape = (-1,) + (1,) * (np.ndim(ohm) - 1)
    ratio = ohm / (ohm + reference_ohm * (1.0 + part))
    bow = benches.bow_count.reshape(shape) * np.sin(7.0 * ratio + benches.bow_phase.reshape(shape))
    seen = FULL_SCALE_COUNT * ratio + bow
    if chance is not None:
        seen = seen + benches.count_noise.reshape(shape) * chance.standard_normal(np.shape(ohm))
    read: Array = seen
    return read


def sender_counts(benches: Benches, element_ohm: Array, chance: np.random.Generator) -> tuple[Array, Array]:
    """Counts and ranges of senders, leak and clips included; first axis: benches. [count], [Ω]"""
    shape = (-1,) + (1,) * (np.ndim(element_ohm) - 1)
    leaked = 1.0 / (1.0 / element_ohm + 1.0 / benches.leak_ohm.reshape(shape))
    seen = leaked + benches.clips_ohm.reshape(shape)
    ranges = sender_range(seen)
    part = np.where(
        ranges == LOW_RANGE_OHM, benches.low_part.reshape(shape), benches.high_part.reshape(shape)
    )
    return counts(benches, seen, ranges, part, chance), ranges


def probe_counts(benches: Benches, probe_ohm: Array, chance: np.random.Generator) -> Array:
    """Counts of probes; first axis: benches. [count]"""
    shape = (-1,) + (1,) * (np.ndim(probe_ohm) - 1)
    return counts(benches, probe_ohm, PROBE_RANGE_OHM, benches.probe_part.reshape(shape), chance)


def setups(benches: Benches, chance: np.random.Generator) -> list[BenchSetup]:
    """What each bench knows of itself after its ohms check."""
    high = _corrections(benches, HIGH_RANGE_OHM, benches.high_part, chance)
    low = _corrections(benches, LOW_RANGE_OHM, benches.low_part, chance)
    probe = _corrections(benches, PROBE_RANGE_OHM, benches.probe_part, chance)
    return [
        BenchSetup(
            curve=reference_curve(),
            probe=PROBE,
            box=BOX,
            sender_corrections=(high[bench], low[bench]),
            probe_correction=probe[bench],
            immersion=HEX_UNDER_WATER,
            gradient_half_width_k=GRADIENT_HALF_WIDTH_K,
            source_v=SOURCE_V,
            fixed_series_ohm=FIXED_SERIES_OHM,
            duty=DUTY,
        )
        for bench in range(benches.count)
    ]


def _corrections(
    benches: Benches, reference_ohm: float, part: Array, chance: np.random.Generator
) -> list[RangeCorrection]:
    settings = settings_for(reference_ohm, BOX)
    certified = np.array([BOX.true_ohm(setting) for setting in settings])
    true_ohm = certified * (1.0 + benches.box_part[:, np.newaxis]) + benches.box_ohm[:, np.newaxis]
    read = counts(benches, true_ohm, reference_ohm, part[:, np.newaxis], None)
    noise: NDArray[np.float64] = benches.count_noise[:, np.newaxis] * chance.standard_normal(read.shape)
    read = read + _MEAN_OF_A_SETTING * noise
    return [
        correction_from_box(
            [BoxReading(setting_ohm=s, count=float(c)) for s, c in zip(settings, row, strict=True)],
            reference_ohm=reference_ohm,
            certificate=BOX,
        )
        for row in read
    ]
