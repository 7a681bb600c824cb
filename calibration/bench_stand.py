"""What sender and probe showed at one temperature of the bench, and the budget of the error it gives.

The measurand is the sender's error, indicated minus true, with the sender's body isothermal and at zero
power. Every correction is made before the error is formed, and each leaves its line in the budget.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from calibration.bath.gradient import MeasuredGradient
from calibration.bath.immersion import Immersion, MeasuredStem, Stem
from calibration.conformity import DecisionRule
from calibration.curves import ReferenceCurve
from calibration.reference_probe import ReferenceProbe
from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.resistance.excitation import Excitation
from calibration.resistance.ohms_check import RangeCorrection
from calibration.resistance.self_heating import SelfHeating, self_heating
from calibration.resistance.three_tap import ohm_per_count
from calibration.resistance.zero_power import ZeroPower
from calibration.sender_point import SenderPoint, judge
from calibration.uncertainty.budget import BudgetLine, rectangular_u
from calibration.uncertainty.line import normal, rectangular, student

#: Dissipation factors in stirred water. Assumed spans; no sender's data sheet at hand prints one. [W/K]
SENDER_DISSIPATION_W_PER_K = (0.005, 0.020)
PROBE_DISSIPATION_W_PER_K = (0.004, 0.015)

#: What clips and their ends leave inside the ratio, at most. Assumed; shorting the clips shows it. [Ω]
CLIPS_OHM = 0.05

#: Conversions averaged in one reading of a tap; noise dithers the converter between them.
CONVERSIONS_A_READING = 64


class BenchPointError(ValueError):
    """A plateau that gives no result; says what is missing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchSetup:
    """What stands behind the readings of a run.

    Attributes
    ----------
    curve : ReferenceCurve
    probe : ReferenceProbe
    box : DecadeBoxCertificate
    sender_corrections : tuple[RangeCorrection, ...]
        One for each range the sender was read on.
    probe_correction : RangeCorrection
    immersion : Immersion
    gradient_half_width_k : float
        Largest difference between the water at probe and sender. [K]
    source_v : float
        Excitation. [V]
    fixed_series_ohm : Mapping[float, float]
        Ballast and lift by the nominal reference resistor of the range. [Ω]
    duty : float
        Share of the time each device is excited.
    measured_stem : MeasuredStem or None
        By two depths, in place of the span assumed with ``immersion``.
    measured_gradient : MeasuredGradient or None
        By changing places, in place of ``gradient_half_width_k``.
    sender_zero_power : ZeroPower or None
        By two duties, in place of the assumed span of the sender's dissipation factor.
    moved_since_check : float
        How far a range may have moved since an ohms check that was not made with this run, as a share of the
        resistance (half-width); 0 where it was. [1]
    """

    curve: ReferenceCurve
    probe: ReferenceProbe
    box: DecadeBoxCertificate
    sender_corrections: tuple[RangeCorrection, ...]
    probe_correction: RangeCorrection
    immersion: Immersion
    gradient_half_width_k: float
    source_v: float
    fixed_series_ohm: Mapping[float, float]
    duty: float
    measured_stem: MeasuredStem | None = None
    measured_gradient: MeasuredGradient | None = None
    sender_zero_power: ZeroPower | None = None
    moved_since_check: float = 0.0

    @property
    def stem(self) -> Stem:
        """The stem as measured, else as assumed."""
        return self.measured_stem or self.immersion

    def sender_correction(self, range_ohm: float) -> RangeCorrection:
        """Correction of the sender's range.

        Raises
        ------
        BenchPointError
            If that range was not checked.
        """
        for correction in self.sender_corrections:
            if math.isclose(correction.reference_ohm, range_ohm):
                return correction
        raise BenchPointError(
            f"The {range_ohm:g} Ω range was used but not checked against the decade box. "
            "Run the ohms check again."
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchPoint:
    """A judged plateau, and what the strip needs beside it.

    Attributes
    ----------
    point : SenderPoint
    probe_c, probe_u_k : float
        True temperature of the bath by the probe, and its standard uncertainty. [°C], [K]
    """

    point: SenderPoint
    probe_c: float
    probe_u_k: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """What sender and probe showed at one temperature, however it was come by: a plateau, a loop.

    Attributes
    ----------
    sender_count, probe_count : float
        Ratio counts 4096 x. [count]
    sender_range_ohm : float
        Nominal reference resistor the sender was read on. [Ω]
    sender_ohm, probe_ohm : float
        Corrected resistances. [Ω]
    probe_c : float
        Temperature by the probe's certificate. [°C]
    air_c : float
        Air beside the bath. [°C]
    movement : tuple[BudgetLine, ...]
        What noise and movement of the bath leave open in the error.
    u_scatter_ohm : float
        Standard uncertainty of the sender's resistance from noise alone. [Ω]
    """

    sender_count: float
    probe_count: float
    sender_range_ohm: float
    sender_ohm: float
    probe_ohm: float
    probe_c: float
    air_c: float
    movement: tuple[BudgetLine, ...]
    u_scatter_ohm: float


def judge_stand(stand: Stand, setup: BenchSetup, *, rule: DecisionRule, limit_k: float | None) -> BenchPoint:
    """Make every correction, form the error and judge it.

    Parameters
    ----------
    stand : Stand
    setup : BenchSetup
    rule : DecisionRule
    limit_k : float or None
        Limit in place of the curve's own tolerance. [K]

    Raises
    ------
    BenchPointError
        If a range was not checked, or the probe's certificate does not cover the bath.
    """
    correction = setup.sender_correction(stand.sender_range_ohm)
    if not setup.probe.covers(stand.probe_c):
        raise BenchPointError(
            f"The bath stood at {stand.probe_c:.2f} °C, the probe's certificate covers "
            f"{setup.probe.valid_from_c:g} to {setup.probe.valid_to_c:g} °C. Choose a set point inside it."
        )
    heats = _self_heats(setup, stand)
    true_bath_c = stand.probe_c - heats[1].rise_k
    stem_k = setup.stem.correction_k(true_bath_c, stand.air_c)
    gradient_k = _gradient_correction_k(setup, true_bath_c, stand.air_c)
    slope_sender = setup.curve.sensitivity_k_per_ohm(stand.sender_ohm)
    zero_power_ohm = stand.sender_ohm + (stem_k + gradient_k - heats[0].rise_k) / slope_sender
    body_u_k = math.hypot(
        setup.stem.standard_u_k(true_bath_c, stand.air_c),
        rectangular_u(heats[0].half_width_k),
    )
    lines = _lines(setup, stand, correction, heats, true_bath_c)
    point = judge(
        curve=setup.curve,
        temperature_c=true_bath_c,
        resistance_ohm=zero_power_ohm,
        u_resistance_ohm=_resistance_u_ohm(setup, stand, correction, body_u_k),
        lines=lines,
        rule=rule,
        limit_k=limit_k,
    )
    return BenchPoint(point=point, probe_c=true_bath_c, probe_u_k=_probe_u_k(lines))


def _self_heats(setup: BenchSetup, stand: Stand) -> tuple[SelfHeating, SelfHeating]:
    sender_ohm, probe_ohm = stand.sender_ohm, stand.probe_ohm
    sender = _excitation(setup, stand.sender_range_ohm)
    probe = _excitation(setup, setup.probe_correction.reference_ohm)
    low, high = SENDER_DISSIPATION_W_PER_K
    probe_low, probe_high = PROBE_DISSIPATION_W_PER_K
    sender_heat = (
        self_heating(sender, sender_ohm, lowest_w_per_k=low, highest_w_per_k=high)
        if setup.sender_zero_power is None
        else setup.sender_zero_power.self_heating(sender.mean_power_w(sender_ohm))
    )
    return (
        sender_heat,
        self_heating(probe, probe_ohm, lowest_w_per_k=probe_low, highest_w_per_k=probe_high),
    )


def _excitation(setup: BenchSetup, reference_ohm: float) -> Excitation:
    return Excitation(
        source_v=setup.source_v,
        series_ohm=setup.fixed_series_ohm[reference_ohm] + reference_ohm,
        duty=setup.duty,
    )


def _probe_u_k(lines: Sequence[BudgetLine]) -> float:
    mine = [line for line in lines if line.quantity.startswith("probe: ")]
    return math.sqrt(math.fsum(line.contribution**2 for line in mine))


def _lines(
    setup: BenchSetup,
    stand: Stand,
    correction: RangeCorrection,
    heats: tuple[SelfHeating, SelfHeating],
    bath_c: float,
) -> list[BudgetLine]:
    sender_ohm, probe_ohm = stand.sender_ohm, stand.probe_ohm
    sender_slope = setup.curve.sensitivity_k_per_ohm(sender_ohm)
    probe_slope = setup.probe.curve.sensitivity_k_per_ohm(probe_ohm)
    certificate = normal("probe: its certificate", bath_c, "°C", setup.probe.standard_u_k(), -1.0)
    return [
        certificate,
        *_channel_lines("probe", setup.probe_correction, stand.probe_count, probe_ohm, -probe_slope),
        rectangular("probe: self-heating", -heats[1].rise_k, "K", heats[1].half_width_k, -1.0),
        *_channel_lines("sender", correction, stand.sender_count, sender_ohm, sender_slope),
        _sender_heat_line(setup, heats[0]),
        rectangular("sender: clips", 0.0, "Ω", CLIPS_OHM, sender_slope),
        _stem_line(setup, stand, bath_c),
        # One box stands behind both channels: what goes with the value nearly cancels in the difference.
        normal(
            "decade box: value",
            100.0,
            "%",
            100.0 * setup.box.relative_standard_u(),
            (sender_ohm * sender_slope - probe_ohm * probe_slope) / 100.0,
        ),
        normal("decade box: residual", sender_ohm, "Ω", setup.box.fixed_standard_u_ohm(), sender_slope),
        _gradient_line(setup, bath_c, stand.air_c),
        *_lines_since_check(setup, sender_ohm * sender_slope, probe_ohm * probe_slope),
        *stand.movement,
    ]


def _lines_since_check(setup: BenchSetup, sender_k: float, probe_k: float) -> tuple[BudgetLine, ...]:
    """What an ohms check of an earlier run leaves open; each range has its own resistor.

    Parameters
    ----------
    setup : BenchSetup
    sender_k, probe_k : float
        What the whole of each resistance is worth. [K]
    """
    percent = 100.0 * setup.moved_since_check
    if percent == 0.0:
        return ()
    return (
        rectangular("sender: since its ohms check", 100.0, "%", percent, sender_k / 100.0),
        rectangular("probe: since its ohms check", 100.0, "%", percent, -probe_k / 100.0),
    )


def _channel_lines(
    channel: str,
    correction: RangeCorrection,
    count: float,
    resistance_ohm: float,
    sensitivity: float,
) -> tuple[BudgetLine, BudgetLine]:
    """Lines of a resistance channel: what the ohms check leaves, and the step of the converter."""
    step_ohm = ohm_per_count(count, correction.reference_ohm)
    return (
        student(
            f"{channel}: ohms check",
            resistance_ohm,
            "Ω",
            correction.standard_u_ohm(count),
            sensitivity,
            correction.degrees_of_freedom,
        ),
        rectangular(
            f"{channel}: resolution",
            resistance_ohm,
            "Ω",
            0.5 * step_ohm / math.sqrt(CONVERSIONS_A_READING),
            sensitivity,
        ),
    )


def _sender_heat_line(setup: BenchSetup, heat: SelfHeating) -> BudgetLine:
    if setup.sender_zero_power is not None:
        u_k = rectangular_u(heat.half_width_k)
        return normal("sender: self-heating, by two currents", -heat.rise_k, "K", u_k, 1.0)
    return rectangular("sender: self-heating", -heat.rise_k, "K", heat.half_width_k, 1.0)


def _gradient_correction_k(setup: BenchSetup, bath_c: float, air_c: float) -> float:
    """What a gradient that was measured adds to the error; one that is declared adds nothing. [K]"""
    measured = setup.measured_gradient
    return 0.0 if measured is None else measured.correction_k(bath_c, air_c)


def _gradient_line(setup: BenchSetup, bath_c: float, air_c: float) -> BudgetLine:
    measured = setup.measured_gradient
    if measured is None:
        return rectangular("bath: gradient", 0.0, "K", setup.gradient_half_width_k, 1.0)
    correction_k = _gradient_correction_k(setup, bath_c, air_c)
    half_width_k = measured.half_width_k(bath_c, air_c)
    return rectangular("bath: gradient, by changing places", correction_k, "K", half_width_k, 1.0)


def _stem_line(setup: BenchSetup, stand: Stand, bath_c: float) -> BudgetLine:
    correction_k = setup.stem.correction_k(bath_c, stand.air_c)
    standard_u_k = setup.stem.standard_u_k(bath_c, stand.air_c)
    if setup.measured_stem is not None:
        return normal("sender: stem, by two depths", correction_k, "K", standard_u_k, 1.0)
    return rectangular("sender: stem", correction_k, "K", math.sqrt(3.0) * standard_u_k, 1.0)


def _resistance_u_ohm(setup: BenchSetup, stand: Stand, correction: RangeCorrection, body_u_k: float) -> float:
    """Standard uncertainty of the zero-power resistance, corrected to the bath's temperature. [Ω]"""
    parts = (
        correction.standard_u_ohm(stand.sender_count),
        setup.box.relative_standard_u() * stand.sender_ohm,
        setup.box.fixed_standard_u_ohm(),
        stand.u_scatter_ohm,
        body_u_k / setup.curve.sensitivity_k_per_ohm(stand.sender_ohm),
        rectangular_u(setup.moved_since_check * stand.sender_ohm),
    )
    return math.sqrt(math.fsum(part * part for part in parts))
