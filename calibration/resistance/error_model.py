"""What a measuring range gets wrong, before and after the decade-box check: a seeded Monte Carlo.

Each trial is a bench of its own: a reference resistor within its tolerance, a converter chip of its grade, a
decade box within its certificate. The bench is checked with seven settings by the very code that corrects
a run (`calibration.resistance.ohms_check`), its board warms, and then it reads resistances that are known.
Everything is drawn conversion by conversion, so that a noise too small to dither the converter shows.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from calibration.resistance.circuit import Circuit
from calibration.resistance.converter import CODES
from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.resistance.ohms_check import (
    BoxReading,
    OhmsCheckError,
    RangeCorrection,
    correction_from_box,
    settings_for,
)
from calibration.resistance.three_tap import resistance_from_ratio_count

Vector = NDArray[np.float64]

#: A box whose certificate names round values; what it really is, each trial draws.
NOMINAL_BOX = DecadeBoxCertificate(
    residual_ohm=0.0,
    step_ohm={w * d: float(w * d) for d in (1, 10, 100, 1000) for w in (1, 2, 4, 8)},
    expanded_u_relative=1e-4,
    expanded_u_ohm=0.03,
    k=2.0,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What acts on a range besides its own parts. Every figure is assumed; none was measured on metal.

    Attributes
    ----------
    noise_v : float
        Noise at the converter's input, standard deviation. 0.7 of a code at 1 V. [V]
    hum_v : float
        Largest amplitude of mains hum at the inputs. [V]
    drift_k : float
        Largest change of the board's temperature between check and reading. [K]
    check_readings : int
        Readings averaged at each setting of the box.
    readings : int
        Readings averaged of the device.
    box_relative_u, box_fixed_u_ohm : float
        Standard uncertainties of the decade box: with the value, and not. [1], [Ω]
    """

    noise_v: float = 171e-6
    hum_v: float = 490e-6
    drift_k: float = 3.0
    check_readings: int = 8
    readings: int = 1
    box_relative_u: float = 0.0
    box_fixed_u_ohm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Sizes of an error over many benches: root mean square, and what 95 of 100 stay under."""

    rms: float
    p95: float

    def times(self, factor: float) -> "Spread":
        """The same in another unit."""
        return Spread(rms=self.rms * abs(factor), p95=self.p95 * abs(factor))


@dataclass(frozen=True, slots=True, kw_only=True)
class ResistanceError:
    """What a range gets wrong at one resistance.

    Attributes
    ----------
    resistance_ohm : float
        [Ω]
    before_ohm, after_ohm : Spread
        Before and after the decade-box check. [Ω]
    current_ma : float
        Through the device. [mA]
    benches : int
        Benches that passed their check and were counted.
    refused : int
        Benches that the check itself refused.
    """

    resistance_ohm: float
    before_ohm: Spread
    after_ohm: Spread
    current_ma: float
    benches: int
    refused: int

    def in_kelvin(self, curve: "HasSlope") -> tuple[Spread, Spread]:
        """Before and after, on a curve. [K]"""
        slope = curve.sensitivity_k_per_ohm(self.resistance_ohm)
        return self.before_ohm.times(slope), self.after_ohm.times(slope)


class HasSlope(Protocol):
    """A thermistor curve, printed or fitted."""

    def sensitivity_k_per_ohm(self, resistance_ohm: float) -> float:
        """Change of temperature with resistance. [K/Ω]"""
        ...


def resistance_errors(
    circuit: Circuit,
    resistances_ohm: Sequence[float],
    *,
    benches: int,
    seed: int,
    surroundings: Surroundings | None = None,
) -> tuple[ResistanceError, ...]:
    """What a range gets wrong at some resistances.

    Parameters
    ----------
    circuit : Circuit
    resistances_ohm : sequence of float
        What the devices truly have. [Ω]
    benches : int
        How many benches are drawn.
    seed : int
        Same seed, same benches.
    surroundings : Surroundings, optional
        By default those of the class, with a decade box that is exactly as certified.

    Raises
    ------
    OhmsCheckError
        If the check refuses every bench.
    """
    about = surroundings or Surroundings()
    chance = np.random.default_rng(seed)
    before, after = [], []
    refused, refusal = 0, None
    for _ in range(benches):
        bench = _Bench.draw(circuit, about, chance)
        try:
            correction = bench.checked()
        except OhmsCheckError as error:
            refused, refusal = refused + 1, error
            continue
        counts = bench.warmed().counts(np.asarray(resistances_ohm, dtype=float), about.readings)
        before.append([resistance_from_ratio_count(count, circuit.reference_ohm) for count in counts])
        after.append([correction.corrected_ohm(count) for count in counts])
    if refusal is not None and not after:
        raise refusal
    true_ohm = np.asarray(resistances_ohm, dtype=float)
    errors_before, errors_after = np.array(before) - true_ohm, np.array(after) - true_ohm
    return tuple(
        ResistanceError(
            resistance_ohm=float(resistance_ohm),
            before_ohm=_spread(errors_before[:, place]),
            after_ohm=_spread(errors_after[:, place]),
            current_ma=circuit.current_ma(resistance_ohm),
            benches=len(after),
            refused=refused,
        )
        for place, resistance_ohm in enumerate(resistances_ohm)
    )


def terms_of(
    circuit: Circuit,
    resistance_ohm: float,
    *,
    benches: int,
    seed: int,
    surroundings: Surroundings | None = None,
) -> dict[str, Spread]:
    """What is left after the check with one cause at work at a time, noise dithering in each. [Ω]

    So the terms need not add up in squares: noise and converter act together.
    """
    about = surroundings or Surroundings()
    straight = replace(circuit.grade, typical_inl_lsb=0.0, largest_inl_lsb=0.0, offset_lsb=0.0, leakage_a=0.0)
    ideal = replace(circuit, grade=straight, reference_tolerance=0.0, reference_per_k=0.0)
    quiet = replace(about, hum_v=0.0, drift_k=0.0, box_relative_u=0.0, box_fixed_u_ohm=0.0)
    alone = {
        "noise and quantisation": (ideal, quiet),
        "mains hum": (ideal, replace(quiet, hum_v=about.hum_v)),
        "converter nonlinearity": (replace(ideal, grade=replace(circuit.grade, leakage_a=0.0)), quiet),
        "input leakage": (replace(ideal, grade=replace(straight, leakage_a=circuit.grade.leakage_a)), quiet),
        "reference resistor": (replace(ideal, reference_tolerance=circuit.reference_tolerance), quiet),
        "reference drift": (
            replace(ideal, reference_per_k=circuit.reference_per_k),
            replace(quiet, drift_k=about.drift_k),
        ),
        "decade box": (
            ideal,
            replace(quiet, box_relative_u=about.box_relative_u, box_fixed_u_ohm=about.box_fixed_u_ohm),
        ),
    }
    return {
        name: resistance_errors(one, [resistance_ohm], benches=benches, seed=seed, surroundings=around)[
            0
        ].after_ohm
        for name, (one, around) in alone.items()
    }


def _spread(errors: Vector) -> Spread:
    sizes = np.abs(errors)
    return Spread(rms=float(np.sqrt(np.mean(sizes**2))), p95=float(np.quantile(sizes, 0.95)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bench:
    """One bench of a Monte Carlo, as it truly is."""

    circuit: Circuit
    about: Surroundings
    chance: np.random.Generator
    thresholds: Vector
    leakage_a: Vector
    reference_ohm: float
    warmed_reference_ohm: float
    box_factor: float
    box_residual_ohm: float
    hum_count: float

    @classmethod
    def draw(cls, circuit: Circuit, about: Surroundings, chance: np.random.Generator) -> "_Bench":
        reference_ohm = circuit.reference_ohm * (
            1.0 + circuit.reference_tolerance * chance.uniform(-1.0, 1.0)
        )
        drift = (
            circuit.reference_per_k * chance.uniform(-1.0, 1.0) * about.drift_k * chance.uniform(-1.0, 1.0)
        )
        return cls(
            circuit=circuit,
            about=about,
            chance=chance,
            thresholds=circuit.grade.draw_thresholds(chance),
            leakage_a=circuit.grade.leakage_a * chance.uniform(-1.0, 1.0, 3),
            reference_ohm=reference_ohm,
            warmed_reference_ohm=reference_ohm * (1.0 + drift),
            box_factor=1.0 + about.box_relative_u * chance.normal(),
            box_residual_ohm=about.box_fixed_u_ohm * chance.normal(),
            hum_count=about.hum_v * chance.uniform() * CODES / circuit.source_v,
        )

    def warmed(self) -> "_Bench":
        """The same bench later, its board at another temperature."""
        values = {field.name: getattr(self, field.name) for field in fields(self)}
        return _Bench(**{**values, "reference_ohm": self.warmed_reference_ohm})

    def checked(self) -> RangeCorrection:
        """Correction by the decade box, as in a run."""
        settings = settings_for(self.circuit.reference_ohm, NOMINAL_BOX)
        true_ohm = np.array(settings) * self.box_factor + self.box_residual_ohm
        counts = self.counts(true_ohm, self.about.check_readings)
        readings = [
            BoxReading(setting_ohm=setting, count=float(count))
            for setting, count in zip(settings, counts, strict=True)
        ]
        return correction_from_box(
            readings, reference_ohm=self.circuit.reference_ohm, certificate=NOMINAL_BOX
        )

    def counts(self, true_ohm: Vector, readings: int) -> Vector:
        """Ratio counts of some resistances, each the mean of some readings; shape (n,)."""
        lsb_v = self.circuit.source_v / CODES
        seen_ohm = self.circuit.source_resistance_ohm(true_ohm)
        settled = 1.0 - np.exp(-self.circuit.settle_s / (seen_ohm * self.circuit.tap_capacitor_f))
        levels = self.circuit.levels_count(true_ohm, self.reference_ohm) * settled
        levels += self.leakage_a * seen_ohm / lsb_v
        start = self.chance.uniform(0.0, 2.0 * math.pi, (true_ohm.size, readings, 1, 1))
        hum = self.hum_count * np.sin(self.circuit.phases() + start)
        noise = self.chance.normal(0.0, self.about.noise_v / lsb_v, hum.shape)
        codes = np.searchsorted(self.thresholds, levels[:, np.newaxis, :, np.newaxis] + hum + noise, "right")
        tap0, tap1, tap2 = np.moveaxis(codes.mean(axis=-1), -1, 0)
        ratios: Vector = (CODES * (tap1 - tap2) / (tap0 - tap2)).mean(axis=-1)
        return ratios
