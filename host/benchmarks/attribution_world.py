"""Senders with planted faults, measured by hand or on a bench in a world that the diagnosis does not know.

Good parts are drawn from the maker's tolerance; errors are not drawn from the budgets. What the budgets leave
out is here: a meter's gain that is common to all points, leads, thermometers read to half a degree, a stem,
gradients that wander, a probe that has drifted, damp terminals, and a part whose curve bends a little
differently. Half-widths are assumed; none was chosen with the outcome in view.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calibration.bath.immersion import HEX_UNDER_WATER
from calibration.curves import ReferenceCurve
from calibration.diagnosis import (
    DeadCircuit,
    DeadPoint,
    Intermittence,
    MeasuredPoints,
    dead_points,
    intermittence,
    points_by_hand,
)
from calibration.diagnosis.healthy_spread import healthy_spread
from calibration.sender_point import SenderPoint
from calibration.thermistor.fit_point import FitPoint
from host.typed_check import ASSUMED_U_RESISTANCE_PERCENT, ASSUMED_U_TEMPERATURE_K
from host.usual_plateau import USUAL_AIR_C, usual_plateau

HAND_C = (20.0, 60.0, 90.0)
BENCH_C = (25.0, 45.0, 60.0, 80.0, 95.0)
_MIDDLE_C, _BEND_OVER_K = 60.0, 40.0
# A hand meter on its own ranges: below, it shows nothing but noughts, above, an open circuit. [Ω]
_METER_SHOWS_OHM = (0.2, 4e7)
_BURST = 150


@dataclass(frozen=True, slots=True, kw_only=True)
class Planted:
    """One fault of one size, or none.

    Attributes
    ----------
    r25, beta : float
        Relative shifts of the element.
    series_ohm : float
        [Ω]
    leakage_ohm : float
        Infinite without a leakage. [Ω]
    thermometer_k : float
        What the thermometer shows too much. [K]
    stem_share : float
        By which the sender stays behind the bath, of its distance from the air.
    circuit : DeadCircuit or None
        An open or a short circuit at every reading.
    open_readings : int
        By hand: at how many of the readings the contact was open.
    contact_ohm : float
        On the bench: what the contact adds now and then while the connector is moved. [Ω]
    """

    r25: float = 0.0
    beta: float = 0.0
    series_ohm: float = 0.0
    leakage_ohm: float = math.inf
    thermometer_k: float = 0.0
    stem_share: float = 0.0
    circuit: DeadCircuit | None = None
    open_readings: int = 0
    contact_ohm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Sender:
    """One sender, as it is.

    Attributes
    ----------
    curve : ReferenceCurve
        Of the part.
    r25_factor, beta_shift : float
        Of the element: the part's own deviation and the planted one together.
    bend : float
        How its curve bends beside the nominal one, relative.
    planted : Planted
    """

    curve: ReferenceCurve
    r25_factor: float
    beta_shift: float
    bend: float
    planted: Planted

    def resistance_ohm(self, temperature_c: float) -> float:
        """Resistance between the terminals. [Ω]"""
        at_25_c = min(max(25.0, self.curve.valid_from_c), self.curve.valid_to_c)
        nominal_ohm = self.curve.nominal.resistance_ohm(temperature_c)
        bent = self.bend * (((temperature_c - _MIDDLE_C) / _BEND_OVER_K) ** 2 - 0.5)
        steeper = (nominal_ohm / self.curve.nominal.resistance_ohm(at_25_c)) ** self.beta_shift
        element_ohm = nominal_ohm * self.r25_factor * steeper * math.exp(bent)
        return 1.0 / (1.0 / element_ohm + 1.0 / self.planted.leakage_ohm) + self.planted.series_ohm

    @property
    def keeps_tolerance(self) -> bool:
        """Whether R25 and beta are those of a good part and nothing lies in series or beside it.

        A part that was drawn high and shifted low may end as a good one.
        """
        spread = healthy_spread(self.curve)
        element_is_good = (
            abs(self.r25_factor - 1.0) <= spread.r25_half_width
            and abs(self.beta_shift) <= spread.beta_half_width
        )
        planted = self.planted
        path_is_good = planted == replace(
            planted, series_ohm=0.0, leakage_ohm=math.inf, circuit=None, open_readings=0, contact_ohm=0.0
        )
        return element_is_good and path_is_good


def draw_sender(curve: ReferenceCurve, planted: Planted, chance: np.random.Generator) -> Sender:
    """A good part drawn from the tolerance, then spoiled.

    R25 and beta of the part lie anywhere in the half-widths of good parts.
    """
    spread = healthy_spread(curve)
    r25 = chance.uniform(-spread.r25_half_width, spread.r25_half_width)
    beta = chance.uniform(-spread.beta_half_width, spread.beta_half_width)
    return Sender(
        curve=curve,
        r25_factor=(1.0 + r25) * (1.0 + planted.r25),
        beta_shift=beta + planted.beta,
        bend=chance.uniform(-0.001, 0.001),
        planted=planted,
    )


def measured_by_hand(sender: Sender, chance: np.random.Generator) -> MeasuredPoints:
    """Three points with a meter, a thermometer and a kettle, with the uncertainties a check assumes."""
    planted = sender.planted
    thermometer_off_k = chance.uniform(-0.7, 0.7) + planted.thermometer_k
    stem_share = chance.uniform(0.0, 0.005) + planted.stem_share
    air_c = chance.uniform(17.0, 27.0)
    meter_gain, leads_ohm = 1.0 + chance.uniform(-0.008, 0.008), chance.uniform(0.1, 0.4)
    opened = set(chance.permutation(len(HAND_C))[: planted.open_readings].tolist())
    read, dead = [], []
    for number, aimed_c in enumerate(HAND_C):
        bath_c = aimed_c + chance.uniform(-2.0, 2.0)
        sender_c = bath_c + chance.normal(0.0, 0.4) - stem_share * (bath_c - air_c)
        shown_c = 0.5 * round(2.0 * (bath_c + thermometer_off_k))
        noisy_ohm = sender.resistance_ohm(sender_c) * meter_gain * (1.0 + chance.normal(0.0, 0.003))
        circuit = DeadCircuit.OPEN if number in opened else planted.circuit
        if circuit is not None:
            noisy_ohm = _dead_ohm(circuit, chance)
        if not _METER_SHOWS_OHM[0] <= noisy_ohm + leads_ohm <= _METER_SHOWS_OHM[1]:
            dead.append(DeadPoint(temperature_c=shown_c, circuit=circuit or DeadCircuit.OPEN))
            continue
        shown_ohm = float(round(noisy_ohm + leads_ohm, 1 if noisy_ohm < 100.0 else 0))
        read.append(
            FitPoint(
                temperature_c=shown_c,
                resistance_ohm=shown_ohm,
                u_temperature_k=ASSUMED_U_TEMPERATURE_K,
                u_resistance_ohm=ASSUMED_U_RESISTANCE_PERCENT / 100.0 * shown_ohm,
            )
        )
    return points_by_hand(read).and_dead(dead) if read else dead_points(dead, by_hand=True)


def _dead_ohm(circuit: DeadCircuit, chance: np.random.Generator) -> float:
    """What an open or a short circuit leaves: damp and dirt across a gap, or a bridge of metal. [Ω]"""
    if circuit is DeadCircuit.OPEN:
        return float(10.0 ** chance.uniform(5.5, 9.0))
    return float(10.0 ** chance.uniform(-2.0, 0.3))


def burst_of(sender: Sender, chance: np.random.Generator) -> Intermittence | None:
    """Three seconds at the hottest set point while the connector is moved; None where nothing can be read."""
    planted = sender.planted
    if planted.circuit is not None:
        return None
    cooling = np.exp(chance.uniform(-1e-4, 3e-4) * np.arange(_BURST))
    ohm = sender.resistance_ohm(BENCH_C[-1]) * cooling * (1.0 + 5e-4 * chance.standard_normal(_BURST))
    if planted.contact_ohm:
        # It moves a few times, and each time it does it adds what it adds, more or less.
        moves = np.sort(chance.choice(np.arange(1, _BURST), size=chance.integers(1, 13), replace=False))
        away = np.searchsorted(moves, np.arange(_BURST), side="right") % 2 == 1
        ohm = ohm + away * planted.contact_ohm * chance.uniform(0.7, 1.3, _BURST)
    return intermittence(ohm)


class Bench:
    """Five plateaus, corrected and budgeted as the bench does it, in a world of its own."""

    def __init__(self, curve: ReferenceCurve) -> None:
        self._curve = curve
        self._air_c = USUAL_AIR_C
        self.budgeted: Sequence[SenderPoint] = [usual_plateau(curve, t) for t in BENCH_C]

    def judged(self, sender: Sender, chance: np.random.Generator) -> list[SenderPoint]:
        """Points of one run."""
        planted = sender.planted
        probe_off_k = chance.normal(0.0, 0.025) + chance.uniform(-0.05, 0.05) + planted.thermometer_k
        gradient_k = chance.uniform(-0.05, 0.05)
        stem_share = chance.uniform(0.0, 0.003) + planted.stem_share
        warmth_k, clips_ohm = chance.uniform(0.0, 0.02), chance.uniform(0.0, 0.05)
        gain, damp_ohm = 1.0 + chance.normal(0.0, 1e-4), 10.0 ** chance.uniform(6.7, 8.0)
        points: list[SenderPoint] = []
        for budgeted in self.budgeted:
            bath_c = budgeted.temperature_c + chance.uniform(-0.5, 0.5)
            wandering_k = gradient_k + chance.normal(0.0, 0.02)
            stem_k = stem_share * (bath_c - chance.uniform(self._air_c - 3.0, self._air_c + 3.0))
            sender_c = bath_c + wandering_k - stem_k + warmth_k
            terminal_ohm = 1.0 / (1.0 / sender.resistance_ohm(sender_c) + 1.0 / damp_ohm) + clips_ohm
            read_ohm = terminal_ohm * gain * (1.0 + chance.normal(0.0, 2e-4))
            # The bench knows of a stem and corrects by the middle of its span.
            corrected_k = HEX_UNDER_WATER.correction_k(bath_c, self._air_c)
            sensitivity = self._curve.sensitivity_k_per_ohm(read_ohm)
            points.append(
                replace(
                    budgeted,
                    temperature_c=bath_c + probe_off_k + chance.normal(0.0, 0.005),
                    resistance_ohm=read_ohm + corrected_k / sensitivity,
                )
            )
        return points
