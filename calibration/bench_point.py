"""One plateau on the bench: from ratio counts of sender and probe to a judged point.

The measurand is the sender's error, indicated minus true, with the sender's body isothermal and at zero
power. Every correction is made before the error is formed, and each leaves its line in the budget.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from calibration.bath.gradient import MeasuredGradient
from calibration.bath.immersion import Immersion, MeasuredStem, Stem
from calibration.bath.plateau import PlateauMean, plateau_mean
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
from calibration.uncertainty.budget import BudgetLine, Distribution, rectangular_u

#: Dissipation factors in stirred water. Assumed spans; no sender's data sheet at hand prints one. [W/K]
SENDER_DISSIPATION_W_PER_K = (0.005, 0.020)
PROBE_DISSIPATION_W_PER_K = (0.004, 0.015)

#: Largest difference between the lags of sender and probe that a slow drift is charged with. [s]
LAG_DIFFERENCE_S = 20.0

#: What clips and their ends leave inside the ratio, at most. Assumed; shorting the clips shows it. [Ω]
CLIPS_OHM = 0.05

#: Conversions averaged in one reading of a tap; noise dithers the converter between them.
CONVERSIONS_A_READING = 64


class BenchPointError(ValueError):
    """A plateau that gives no result; says what is missing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plateau:
    """Readings of one plateau, in order and equally spaced.

    Attributes
    ----------
    sender_count, probe_count : tuple[float, ...]
        Ratio counts 4096 x. [count]
    sender_range_ohm : float
        Nominal reference resistor the sender was read on. [Ω]
    slope_k_per_min : float
        Of the probe over the plateau. [K/min]
    air_c : float
        Air beside the bath. [°C]
    """

    sender_count: tuple[float, ...]
    probe_count: tuple[float, ...]
    sender_range_ohm: float
    slope_k_per_min: float
    air_c: float


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

    @property
    def stem(self) -> Stem:
        """The stem as measured, else as assumed."""
        return self.measured_stem or self.immersion

    @property
    def gradient_line_k(self) -> float:
        """Half-width of the gradient line, as measured, else as declared. [K]"""
        return self.measured_gradient.half_width_k if self.measured_gradient else self.gradient_half_width_k

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


def judge_plateau(
    plateau: Plateau, setup: BenchSetup, *, rule: DecisionRule, limit_k: float | None
) -> BenchPoint:
    """Judge one plateau against the reference curve.

    Parameters
    ----------
    plateau : Plateau
    setup : BenchSetup
    rule : DecisionRule
    limit_k : float or None
        Limit in place of the curve's own tolerance. [K]

    Raises
    ------
    BenchPointError
        If a range was not checked, or the probe's certificate does not cover the plateau.
    """
    correction = setup.sender_correction(plateau.sender_range_ohm)
    sender_ohm = [correction.corrected_ohm(count) for count in plateau.sender_count]
    probe_ohm = [setup.probe_correction.corrected_ohm(count) for count in plateau.probe_count]
    probe_c = [setup.probe.temperature_c(ohm) for ohm in probe_ohm]
    mean_sender_ohm, mean_probe_ohm = _mean(sender_ohm), _mean(probe_ohm)
    bath_c = _mean(probe_c)
    error = plateau_mean(
        [setup.curve.indicated_c(ohm, at_c=bath_c) - t for ohm, t in zip(sender_ohm, probe_c, strict=True)]
    )
    if not setup.probe.covers(bath_c):
        raise BenchPointError(
            f"The bath stood at {bath_c:.2f} °C, the probe's certificate covers "
            f"{setup.probe.valid_from_c:g} to {setup.probe.valid_to_c:g} °C. Choose a set point inside it."
        )
    heats = _self_heats(setup, plateau, mean_sender_ohm, mean_probe_ohm)
    true_bath_c = bath_c - heats[1].rise_k
    stem_k = setup.stem.correction_k(true_bath_c, plateau.air_c)
    slope_sender = setup.curve.sensitivity_k_per_ohm(mean_sender_ohm)
    zero_power_ohm = mean_sender_ohm + (stem_k - heats[0].rise_k) / slope_sender
    body_u_k = math.hypot(
        setup.stem.standard_u_k(true_bath_c, plateau.air_c),
        rectangular_u(heats[0].half_width_k),
    )
    lines = _lines(setup, plateau, correction, error, heats, (mean_sender_ohm, mean_probe_ohm, true_bath_c))
    point = judge(
        curve=setup.curve,
        temperature_c=true_bath_c,
        resistance_ohm=zero_power_ohm,
        u_resistance_ohm=_resistance_u_ohm(setup, plateau, correction, mean_sender_ohm, body_u_k),
        lines=lines,
        rule=rule,
        limit_k=limit_k,
    )
    return BenchPoint(point=point, probe_c=true_bath_c, probe_u_k=_probe_u_k(lines))


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values)


def _self_heats(
    setup: BenchSetup, plateau: Plateau, sender_ohm: float, probe_ohm: float
) -> tuple[SelfHeating, SelfHeating]:
    sender = _excitation(setup, plateau.sender_range_ohm)
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
    plateau: Plateau,
    correction: RangeCorrection,
    error: PlateauMean,
    heats: tuple[SelfHeating, SelfHeating],
    means: tuple[float, float, float],
) -> list[BudgetLine]:
    sender_ohm, probe_ohm, bath_c = means
    sender_slope = setup.curve.sensitivity_k_per_ohm(sender_ohm)
    probe_slope = setup.probe.curve.sensitivity_k_per_ohm(probe_ohm)
    certificate = _normal("probe: its certificate", bath_c, "°C", setup.probe.standard_u_k(), -1.0)
    return [
        certificate,
        *_channel_lines("probe", setup.probe_correction, plateau.probe_count, probe_ohm, -probe_slope),
        _rectangular("probe: self-heating", -heats[1].rise_k, "K", heats[1].half_width_k, -1.0),
        *_channel_lines("sender", correction, plateau.sender_count, sender_ohm, sender_slope),
        _rectangular("sender: self-heating", -heats[0].rise_k, "K", heats[0].half_width_k, 1.0),
        _rectangular("sender: clips", 0.0, "Ω", CLIPS_OHM, sender_slope),
        _stem_line(setup, plateau, bath_c),
        # One box stands behind both channels: what goes with the value nearly cancels in the difference.
        _normal(
            "decade box: value",
            100.0,
            "%",
            100.0 * setup.box.relative_standard_u(),
            (sender_ohm * sender_slope - probe_ohm * probe_slope) / 100.0,
        ),
        _normal("decade box: residual", sender_ohm, "Ω", setup.box.fixed_standard_u_ohm(), sender_slope),
        _rectangular("bath: gradient", 0.0, "K", setup.gradient_line_k, 1.0),
        _rectangular(
            "bath: drift and lag", 0.0, "K", abs(plateau.slope_k_per_min) / 60.0 * LAG_DIFFERENCE_S, 1.0
        ),
        _student("repeatability", error.mean, "K", error.standard_u, 1.0, error.degrees_of_freedom),
    ]


def _channel_lines(
    channel: str,
    correction: RangeCorrection,
    counts: Sequence[float],
    resistance_ohm: float,
    sensitivity: float,
) -> tuple[BudgetLine, BudgetLine]:
    """Lines of a resistance channel: what the ohms check leaves, and the step of the converter."""
    count = _mean(counts)
    step_ohm = ohm_per_count(count, correction.reference_ohm)
    return (
        _student(
            f"{channel}: ohms check",
            resistance_ohm,
            "Ω",
            correction.standard_u_ohm(count),
            sensitivity,
            correction.degrees_of_freedom,
        ),
        _rectangular(
            f"{channel}: resolution",
            resistance_ohm,
            "Ω",
            0.5 * step_ohm / math.sqrt(CONVERSIONS_A_READING),
            sensitivity,
        ),
    )


def _stem_line(setup: BenchSetup, plateau: Plateau, bath_c: float) -> BudgetLine:
    correction_k = setup.stem.correction_k(bath_c, plateau.air_c)
    standard_u_k = setup.stem.standard_u_k(bath_c, plateau.air_c)
    if setup.measured_stem is not None:
        return _normal("sender: stem, by two depths", correction_k, "K", standard_u_k, 1.0)
    return _rectangular("sender: stem", correction_k, "K", math.sqrt(3.0) * standard_u_k, 1.0)


def _resistance_u_ohm(
    setup: BenchSetup, plateau: Plateau, correction: RangeCorrection, sender_ohm: float, body_u_k: float
) -> float:
    """Standard uncertainty of the zero-power resistance, corrected to the bath's temperature. [Ω]"""
    count = _mean(plateau.sender_count)
    scatter = plateau_mean(plateau.sender_count).standard_u * ohm_per_count(count, correction.reference_ohm)
    parts = (
        correction.standard_u_ohm(count),
        setup.box.relative_standard_u() * sender_ohm,
        setup.box.fixed_standard_u_ohm(),
        scatter,
        body_u_k / setup.curve.sensitivity_k_per_ohm(sender_ohm),
    )
    return math.sqrt(math.fsum(part * part for part in parts))


def _normal(quantity: str, estimate: float, unit: str, standard_u: float, sensitivity: float) -> BudgetLine:
    return BudgetLine(
        quantity=quantity,
        estimate=estimate,
        unit=unit,
        standard_u=standard_u,
        distribution=Distribution.NORMAL,
        sensitivity=sensitivity,
    )


def _rectangular(
    quantity: str, estimate: float, unit: str, half_width: float, sensitivity: float
) -> BudgetLine:
    return BudgetLine(
        quantity=quantity,
        estimate=estimate,
        unit=unit,
        standard_u=rectangular_u(half_width),
        distribution=Distribution.RECTANGULAR,
        sensitivity=sensitivity,
    )


def _student(
    quantity: str, estimate: float, unit: str, standard_u: float, sensitivity: float, degrees: float
) -> BudgetLine:
    return BudgetLine(
        quantity=quantity,
        estimate=estimate,
        unit=unit,
        standard_u=standard_u,
        distribution=Distribution.STUDENT,
        sensitivity=sensitivity,
        degrees_of_freedom=degrees,
    )
