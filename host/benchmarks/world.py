"""Benches whose truth is known, with terms that no budget knows: many at once, as arrays of one draw each.

What the budget is not told: how much heat the hex really leads away and how that changes on the way up, a
gradient that wanders and grows while heating, a second body in the sender, a leak across its terminals,
a probe that has drifted within its certificate, the converter's bow, and a curve that follows no
Steinhart-Hart equation. Spans are assumed from how such things are built; they were set before the first
run and are not fitted to any result.
"""

from dataclasses import dataclass, fields
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from calibration.curves import ReferenceCurve, load_curve
from calibration.reference_probe import ReferenceProbe
from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.temperature_scale import ZERO_CELSIUS_K
from calibration.thermistor.fit import FitPoint, Model, fit_curve
from calibration.thermistor.steinhart_hart import SteinhartHart

Array = NDArray[np.float64]

#: Reference resistors of the sender's two ranges and of the probe's one. [Ω]
HIGH_RANGE_OHM, LOW_RANGE_OHM, PROBE_RANGE_OHM = 2700.0, 750.0, 2700.0
#: The sender is read on the lower range below this. [Ω]
RANGE_CHANGE_OHM = 1400.0

#: Published 10 kΩ probe type (values as in tests/calibration/published).
PROBE = ReferenceProbe(
    curve=SteinhartHart(a=1.129241e-3, b=2.341077e-4, c=8.775468e-8),
    expanded_u_k=0.05,
    k=2.0,
    valid_from_c=0.0,
    valid_to_c=105.0,
)
BOX = DecadeBoxCertificate(
    residual_ohm=0.4,
    step_ohm={w * d: float(w * d) for d in (1, 10, 100, 1000) for w in (1, 2, 4, 8)},
    expanded_u_relative=1e-4,
    expanded_u_ohm=0.03,
    k=2.0,
)
_CURVE_NAME = "ntc-2k5-20c"
_TOLERANCE_PERCENT = 10.0


@cache
def reference_curve() -> ReferenceCurve:
    """A smooth curve through published rows; it leaves nothing open between them that would widen U."""
    published = load_curve(_CURVE_NAME)
    rows = [row for row in published.rows if row.temperature_c >= -10.0]
    points = [FitPoint(temperature_c=row.temperature_c, resistance_ohm=row.resistance_ohm) for row in rows]
    fit = fit_curve(points, Model.STEINHART_HART_SQUARE)
    return ReferenceCurve(
        name=f"{_CURVE_NAME}-smooth",
        title="Steinhart-Hart with the square term through published rows",
        source=published.source,
        tolerance=f"{_TOLERANCE_PERCENT:g} % of R, assumed",
        wiring="unknown",
        allowed_current_ma=None,
        note="for benchmarks",
        content_hash="",
        rows=(),
        form="steinhart_hart_square",
        coefficients=tuple(fit.coefficients.items()),
        nominal=fit.curve,
        lower=None,
        upper=None,
        tolerance_percent=_TOLERANCE_PERCENT,
        valid_from_c=-10.0,
        valid_to_c=130.0,
    )


@cache
def _true_law() -> np.polynomial.Polynomial:
    """Ln R as a polynomial in 1/T through the published rows: not the equation that is fitted."""
    rows = [row for row in load_curve(_CURVE_NAME).rows if row.temperature_c >= -10.0]
    inverse_k = [1.0 / (row.temperature_c + ZERO_CELSIUS_K) for row in rows]
    return np.polynomial.Polynomial.fit(inverse_k, np.log([row.resistance_ohm for row in rows]), 3)


@cache
def _probe_log_ohm() -> CubicSpline:
    grid_c = np.linspace(-5.0, 115.0, 481)
    return CubicSpline(grid_c, [np.log(PROBE.curve.resistance_ohm(float(c))) for c in grid_c])


@dataclass(frozen=True, slots=True, kw_only=True)
class Benches:
    """One draw of everything for each of k benches; arrays of shape (k,)."""

    kind: NDArray[np.int64]
    rate_k_per_min: Array
    heater_lag_s: Array
    loss_per_s: Array
    air_c: Array
    # sender
    r25_part: Array
    beta_part: Array
    sender_lag_s: Array
    sender_lag_slope_per_k: Array
    body_share: Array
    body_lag_factor: Array
    sender_w_per_k: Array
    stem_cold: Array
    stem_hot: Array
    leak_ohm: Array
    clips_ohm: Array
    # probe
    probe_lag_s: Array
    probe_lag_slope_per_k: Array
    probe_w_per_k: Array
    probe_off_k: Array
    probe_tilt_k: Array
    # bath between the two
    gradient_k: Array
    gradient_s: Array
    wander_k: Array
    wander_s: Array
    swirl_k: Array
    ripple_k: Array
    # electronics
    count_noise: Array
    high_part: Array
    low_part: Array
    probe_part: Array
    bow_count: Array
    bow_phase: Array
    box_part: Array
    box_ohm: Array

    @property
    def count(self) -> int:
        """How many benches."""
        return int(self.kind.size)

    def some(self, which: slice | NDArray[np.int64]) -> "Benches":
        """A part of them."""
        return Benches(**{field.name: getattr(self, field.name)[which] for field in fields(self)})

    def sender_ohm(self, temperature_c: Array) -> Array:
        """Resistance of the isothermal sender at zero power; first axis: benches. [Ω]"""
        law = _true_law()
        shape = (-1,) + (1,) * (np.ndim(temperature_c) - 1)
        at_25 = law(1.0 / (25.0 + ZERO_CELSIUS_K))
        over = law(1.0 / (np.asarray(temperature_c) + ZERO_CELSIUS_K)) - at_25
        r25 = at_25 + np.log1p(self.r25_part.reshape(shape))
        ohm: Array = np.exp(r25 + (1.0 + self.beta_part.reshape(shape)) * over)
        return ohm

    def true_error_k(self, bench: int, temperature_c: float) -> float:
        """Error of one sender at a temperature: what a certificate's interval has to contain. [K]"""
        ohm = float(self.some(slice(bench, bench + 1)).sender_ohm(np.array([temperature_c]))[0])
        return reference_curve().indicated_c(ohm, at_c=temperature_c) - temperature_c

    def stem_k(self, temperature_c: Array) -> Array:
        """How far the sender's body stands below its water; first axis: benches. [K]"""
        way = np.clip((temperature_c - 25.0) / 70.0, 0.0, 1.0)
        share = self.stem_cold + (self.stem_hot - self.stem_cold) * way
        below: Array = share * (temperature_c - self.air_c)
        return below

    def probe_ohm(self, temperature_c: Array) -> Array:
        """Resistance of the drifted probe; first axis: benches. [Ω]"""
        shape = (-1,) + (1,) * (np.ndim(temperature_c) - 1)
        tilt = self.probe_tilt_k.reshape(shape) * (temperature_c - 60.0) / 35.0
        off = np.clip(self.probe_off_k.reshape(shape) + tilt, -PROBE.expanded_u_k, PROBE.expanded_u_k)
        ohm: Array = np.exp(_probe_log_ohm()(temperature_c + off))
        return ohm


def draw_benches(count: int, chance: np.random.Generator) -> Benches:
    """Draw benches: a third each of kettles, hotplates and insulated jugs.

    Parameters
    ----------
    count : int
    chance : numpy.random.Generator
    """

    def even(low: float, high: float) -> Array:
        return chance.uniform(low, high, count)

    def log_even(low: float, high: float) -> Array:
        drawn: Array = np.exp(chance.uniform(np.log(low), np.log(high), count))
        return drawn

    kind = np.arange(count, dtype=np.int64) % len(BATHS)
    rate, lag, loss, wander = (
        np.array([getattr(bath, name) for bath in BATHS])[kind]
        for name in ("rate_k_per_min", "heater_lag_s", "loss_per_s", "wander_k")
    )
    share = chance.random((4, count))

    def between(spans: Array, drawn: Array) -> Array:
        within: Array = spans[:, 0] + (spans[:, 1] - spans[:, 0]) * drawn
        return within

    return Benches(
        kind=kind,
        rate_k_per_min=between(rate, share[0]),
        heater_lag_s=between(lag, share[1]),
        loss_per_s=between(loss, share[2]),
        air_c=even(20.0, 25.0),
        r25_part=even(-0.05, 0.05),
        beta_part=even(-0.01, 0.01),
        sender_lag_s=log_even(3.0, 40.0),
        sender_lag_slope_per_k=even(-0.008, 0.0),
        body_share=even(0.0, 0.10),
        body_lag_factor=even(2.0, 4.0),
        sender_w_per_k=log_even(0.005, 0.020),
        stem_cold=even(0.0, 0.003),
        stem_hot=even(0.0, 0.003),
        leak_ohm=log_even(3e6, 1e8),
        clips_ohm=even(0.0, 0.05),
        probe_lag_s=even(2.5, 6.0),
        probe_lag_slope_per_k=even(-0.006, 0.0),
        probe_w_per_k=log_even(0.004, 0.015),
        probe_off_k=chance.normal(0.0, 0.020, count),
        probe_tilt_k=chance.normal(0.0, 0.015, count),
        gradient_k=even(-0.04, 0.04),
        gradient_s=even(-0.2, 0.2),
        wander_k=between(wander, share[3]),
        wander_s=log_even(30.0, 150.0),
        swirl_k=even(0.005, 0.03),
        ripple_k=even(0.0, 0.03),
        count_noise=even(0.08, 0.25),
        high_part=even(-1e-3, 1e-3),
        low_part=even(-1e-3, 1e-3),
        probe_part=even(-1e-3, 1e-3),
        bow_count=even(0.0, 0.4),
        bow_phase=even(0.0, 2.0 * np.pi),
        box_part=chance.normal(0.0, BOX.relative_standard_u(), count),
        box_ohm=chance.normal(0.0, BOX.fixed_standard_u_ohm(), count),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class BathKind:
    """Spans of one kind of bath, lowest and highest.

    Attributes
    ----------
    name : str
    rate_k_per_min : tuple
        Heating at full power. [K/min]
    heater_lag_s : tuple
        Element and what it stands on. [s]
    loss_per_s : tuple
        Cooling of the bath per kelvin above the air. [1/s]
    wander_k : tuple
        Of the water between probe and sender. [K]
    """

    name: str
    rate_k_per_min: tuple[float, float]
    heater_lag_s: tuple[float, float]
    loss_per_s: tuple[float, float]
    wander_k: tuple[float, float]


BATHS = (
    BathKind(
        name="kettle",
        rate_k_per_min=(8.0, 12.0),
        heater_lag_s=(20.0, 40.0),
        loss_per_s=(2.5e-4, 4e-4),
        wander_k=(0.010, 0.020),
    ),
    BathKind(
        name="hotplate",
        rate_k_per_min=(4.0, 7.0),
        heater_lag_s=(50.0, 90.0),
        loss_per_s=(2e-4, 4e-4),
        wander_k=(0.010, 0.025),
    ),
    BathKind(
        name="jug",
        rate_k_per_min=(6.0, 9.0),
        heater_lag_s=(20.0, 60.0),
        loss_per_s=(1.2e-4, 2.2e-4),
        wander_k=(0.005, 0.015),
    ),
)
