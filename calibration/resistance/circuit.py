"""One measuring range as a value: everything that decides how well it reads a resistance."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.resistance.converter import B_GRADE, CODES, ConverterGrade
from calibration.resistance.excitation import Excitation

Vector = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Circuit:
    """One range: excitation, switch, ballast, reference, device, lift, in series from 1 to ground.

    The excitation is the converter's reference, so that a count is a ratio.

    Attributes
    ----------
    source_v : float
        Excitation and converter reference. [V]
    reference_ohm : float
        Nominal reference resistor. [Ω]
    ballast_ohm, lift_ohm : float
        Keep tap 0 off the upper rail and tap 2 off the lower. [Ω]
    switch_ohm : float
        Analog switch, above tap 0 and so outside the ratio. Assumed. [Ω]
    tap_series_ohm, tap_capacitor_f : float
        Filter between each tap and its input; input leakage falls across it. [Ω], [F]
    grade : ConverterGrade
    rounds, block, discard : int
        ``rounds`` times each tap: ``discard`` conversions thrown away, ``block`` kept.
    mains_cycles : int
        Whole cycles over which the conversions are spread.
    settle_s : float
        From excitation on to the first conversion. [s]
    duty : float
        Share of the time the device carries current.
    reference_tolerance : float
        Largest relative error of the reference resistor. [1]
    reference_per_k : float
        Largest temperature coefficient of it. [1/K]
    """

    source_v: float
    reference_ohm: float
    ballast_ohm: float
    lift_ohm: float
    switch_ohm: float = 4.0
    tap_series_ohm: float = 4700.0
    tap_capacitor_f: float = 10e-9
    grade: ConverterGrade = B_GRADE
    rounds: int = 4
    block: int = 16
    discard: int = 2
    mains_cycles: int = 3
    settle_s: float = 2.5e-3
    duty: float = 0.25
    reference_tolerance: float = 1e-3
    reference_per_k: float = 25e-6

    @property
    def conversions(self) -> int:
        """Conversions that are averaged in one reading of a tap."""
        return self.rounds * self.block

    @property
    def excitation(self) -> Excitation:
        """What the device sees. The switch counts as nothing, so that no current is understated."""
        series_ohm = self.ballast_ohm + self.reference_ohm + self.lift_ohm
        return Excitation(source_v=self.source_v, series_ohm=series_ohm, duty=self.duty)

    def current_ma(self, resistance_ohm: float) -> float:
        """Current through the device while it is on. [mA]"""
        return 1000.0 * self.excitation.current_a(resistance_ohm)

    def levels_count(self, resistance_ohm: ArrayLike, reference_ohm: float) -> Vector:
        """Settled voltages at taps 0, 1 and 2.

        Parameters
        ----------
        resistance_ohm : array_like, shape (n,)
            Device. [Ω]
        reference_ohm : float
            Reference resistor as it is, not as it is marked. [Ω]

        Returns
        -------
        ndarray, shape (n, 3)
            [count of 4096]
        """
        device = np.asarray(resistance_ohm, dtype=float)
        tap1 = device + self.lift_ohm
        tap0 = tap1 + reference_ohm
        total = tap0 + self.ballast_ohm + self.switch_ohm
        taps = (tap0, tap1, np.full_like(device, self.lift_ohm))
        levels: Vector = CODES * np.stack([tap / total for tap in taps], axis=-1)
        return levels

    def source_resistance_ohm(self, resistance_ohm: ArrayLike) -> Vector:
        """Resistance behind each input: the circuit's own and that of the filter; shape (n, 3). [Ω]"""
        shares = self.levels_count(resistance_ohm, self.reference_ohm) / CODES
        total = np.asarray(resistance_ohm, dtype=float) + (
            self.ballast_ohm + self.switch_ohm + self.reference_ohm + self.lift_ohm
        )
        shown: Vector = self.tap_series_ohm + shares * (1.0 - shares) * total[..., np.newaxis]
        return shown

    def phases(self) -> Vector:
        """Place in the mains cycle of each kept conversion, from the start. [rad]

        Returns
        -------
        ndarray, shape (3, conversions)
            Row by tap.
        """
        slots = np.arange(3 * self.rounds * (self.block + self.discard))
        turns = 2.0 * np.pi * self.mains_cycles * slots / slots.size
        by_round = turns.reshape(self.rounds, 3, self.block + self.discard)[:, :, self.discard :]
        phases: Vector = by_round.transpose(1, 0, 2).reshape(3, -1)
        return phases
