"""A whole sender check from its readings: ohms checks, plateaus, verdict, curve, reason and tables.

An invented bench with one fault in it. All that the desk computes of a run is computed; nothing is stored or
set on paper.
"""

from dataclasses import dataclass

import numpy as np

from calibration.bath.immersion import HEX_UNDER_WATER
from calibration.bench_point import BenchSetup, Plateau, judge_plateau
from calibration.conformity import DecisionRule, Verdict, overall_verdict
from calibration.curves import ReferenceCurve, curve_names, load_curve
from calibration.diagnosis import why_on_the_bench, why_words
from calibration.reference_probe import ReferenceProbe
from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.resistance.ohms_check import (
    BoxReading,
    RangeCorrection,
    correction_from_box,
    settings_for,
)
from calibration.resistance.three_tap import ratio_count
from calibration.thermistor.fit import FitPoint, Model, fit_curve
from calibration.thermistor.steinhart_hart import SteinhartHart
from calibration.uncertainty.budget_table import BudgetTable, table_of

_CURVE = "ntc-2k5-20c"
_SET_POINTS_C = (25.0, 40.0, 60.0, 75.0, 90.0)
#: A minute at 4 Hz.
_READINGS = 240
_COUNT_NOISE = 0.06
_PLANTED_SERIES_OHM = 22.0
_HIGH_OHM, _LOW_OHM = 2700.0, 750.0
_RANGE_CHANGE_OHM = 1400.0
_PROBE = ReferenceProbe(
    curve=SteinhartHart(a=1.129241e-3, b=2.341077e-4, c=8.775468e-8),
    expanded_u_k=0.05,
    k=2.0,
    valid_from_c=0.0,
    valid_to_c=105.0,
)
_BOX = DecadeBoxCertificate(
    residual_ohm=0.4,
    step_ohm={w * d: float(w * d) for d in (1, 10, 100, 1000) for w in (1, 2, 4, 8)},
    expanded_u_relative=1e-4,
    expanded_u_ohm=0.03,
    k=2.0,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckReadings:
    """Everything that was read in one run.

    Attributes
    ----------
    box : dict[float, tuple[BoxReading, ...]]
        Ohms checks: sender's two ranges by reference resistor, the probe's under 0.
    plateaus : tuple[Plateau, ...]
    """

    box: dict[float, tuple[BoxReading, ...]]
    plateaus: tuple[Plateau, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedSender:
    """What came out.

    Attributes
    ----------
    verdict : Verdict
    tables : tuple[BudgetTable, ...]
        One for each plateau.
    coefficients : dict[str, float]
    why : tuple[str, ...]
    """

    verdict: Verdict
    tables: tuple[BudgetTable, ...]
    coefficients: dict[str, float]
    why: tuple[str, ...]


def readings_of(seed: int) -> CheckReadings:
    """Readings of an invented sender with 22 Ω in series, five plateaus of a minute."""
    chance = np.random.default_rng(seed)
    curve = load_curve(_CURVE)

    def noisy(count: float) -> tuple[float, ...]:
        return tuple((count + _COUNT_NOISE * chance.standard_normal(_READINGS)).tolist())

    plateaus = []
    for bath_c in _SET_POINTS_C:
        ohm = curve.resistance_ohm(bath_c) + _PLANTED_SERIES_OHM
        range_ohm = _HIGH_OHM if ohm > _RANGE_CHANGE_OHM else _LOW_OHM
        plateaus.append(
            Plateau(
                sender_count=noisy(ratio_count(ohm, range_ohm)),
                probe_count=noisy(ratio_count(_PROBE.curve.resistance_ohm(bath_c), _HIGH_OHM)),
                sender_range_ohm=range_ohm,
                slope_k_per_min=0.02,
                air_c=22.0,
            )
        )
    box = {
        key: tuple(
            BoxReading(
                setting_ohm=setting,
                count=ratio_count(_BOX.true_ohm(setting), reference_ohm * (1.0 + 5e-4))
                + 0.02 * float(chance.standard_normal()),
            )
            for setting in settings_for(reference_ohm, _BOX)
        )
        for key, reference_ohm in ((_HIGH_OHM, _HIGH_OHM), (_LOW_OHM, _LOW_OHM), (0.0, _HIGH_OHM))
    }
    return CheckReadings(box=box, plateaus=tuple(plateaus))


def checked(readings: CheckReadings) -> CheckedSender:
    """The whole computation, curves of the library loaded anew as the desk does."""
    curve = load_curve(_CURVE)
    library = [load_curve(name) for name in curve_names() if name != _CURVE]
    setup = _setup(readings, curve)
    judged = [
        judge_plateau(plateau, setup, rule=DecisionRule.GUARDED, limit_k=1.0) for plateau in readings.plateaus
    ]
    points = [one.point for one in judged]
    fit = fit_curve(
        [
            FitPoint(
                temperature_c=point.temperature_c,
                resistance_ohm=point.resistance_ohm,
                u_temperature_k=point.expanded_u_k / point.k,
                u_resistance_ohm=point.u_resistance_ohm,
            )
            for point in points
        ],
        Model.STEINHART_HART,
    )
    diagnosis = why_on_the_bench(points, curve, library=library)
    return CheckedSender(
        verdict=overall_verdict(point.verdict for point in points),
        tables=tuple(table_of(point.budget) for point in points),
        coefficients=dict(fit.coefficients),
        why=why_words(diagnosis, curve),
    )


def _setup(readings: CheckReadings, curve: ReferenceCurve) -> BenchSetup:
    def correction(key: float, reference_ohm: float) -> RangeCorrection:
        return correction_from_box(readings.box[key], reference_ohm=reference_ohm, certificate=_BOX)

    return BenchSetup(
        curve=curve,
        probe=_PROBE,
        box=_BOX,
        sender_corrections=(correction(_HIGH_OHM, _HIGH_OHM), correction(_LOW_OHM, _LOW_OHM)),
        probe_correction=correction(0.0, _HIGH_OHM),
        immersion=HEX_UNDER_WATER,
        gradient_half_width_k=0.06,
        source_v=1.0,
        fixed_series_ohm={_HIGH_OHM: 102.0, _LOW_OHM: 119.0},
        duty=0.25,
    )
