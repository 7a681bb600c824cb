"""Two temperatures that water keeps: melting ice, and boiling at the pressure of the place.

A probe is checked against them. Boiling needs the pressure the barometer feels (station pressure). The
pressure of a weather report is reduced to sea level and must never be used: at 500 m it is 1.65 K wrong.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from calibration.bath.atmosphere import pressure_slope_kpa_per_m, standard_pressure_kpa
from calibration.bath.saturation import boiling_c, boiling_slope_k_per_kpa
from calibration.errors import CalibrationError
from calibration.uncertainty.budget import Budget, BudgetLine, CoverageRule, combine
from calibration.uncertainty.line import normal, rectangular

#: What a barometer on the ground shows, from the highest shop to the deepest. [kPa]
LOWEST_KPA, HIGHEST_KPA = 50.0, 110.0

#: What weather does to boiling when only the altitude is known; standard uncertainty. [K]
WEATHER_U_K = 0.25
#: The same where a pressure is held against an altitude: a deep low or a strong high. [kPa]
WEATHER_SPAN_KPA = 5.5

#: Assumed of a shop's or a telephone's barometer, half-width. [kPa]
BAROMETER_HALF_WIDTH_KPA = 0.2
#: Assumed of an altitude from a map, half-width. [m]
ALTITUDE_HALF_WIDTH_M = 30.0
#: Salts of tap water, half-width: 1 g/kg of common salt raises boiling by 0.018 K (ebullioscopic constant
#: 0.513 K kg/mol, from memory). [K]
DISSOLVED_HALF_WIDTH_K = 0.02
#: Saturation equation against ITS-90: 0.025 % of pressure near 100 °C (from memory). [K]
EQUATION_U_K = 0.007
#: Depth of the probe below boiling water's surface, where bubbles form hotter. [m]
PROBE_DEPTH_M = 0.05

#: Standard gravity times the density of water at 100 °C (958 kg/m³). [kPa/m]
KPA_PER_METRE = 9.80665 * 0.958


class FixedPointError(CalibrationError):
    """A place or a pressure at which no fixed point can be given."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedPoint:
    """A temperature that water keeps.

    Attributes
    ----------
    temperature_c : float
        On ITS-90. [°C]
    budget : Budget
        Of that temperature.
    pressure_kpa : float or None
        At which it boils; None for ice. [kPa]
    """

    temperature_c: float
    budget: Budget
    pressure_kpa: float | None = None

    @property
    def expanded_u_k(self) -> float:
        """Expanded uncertainty. [K]"""
        return self.budget.expanded_u


def ice_point(*, half_width_k: float = 0.05) -> FixedPoint:
    """Crushed ice of clean water and water, stirred, drained and topped up.

    Parameters
    ----------
    half_width_k : float
        Anywhere within ± this is equally likely: 0.01 to 0.1 K in a workshop, by technique; 0.0035 K
        (u = 0.002 K, from memory) made with care from distilled water. [K]

    Raises
    ------
    FixedPointError
        If the half-width is not above zero.

    References
    ----------
    MSL Technical Guide 1, The ice point (2017): 0 °C is the equilibrium of ice and water saturated with
    air at 101 325 Pa.
    """
    if not 0.0 < half_width_k < 1.0:
        raise FixedPointError(
            f"An ice bath is trusted to {half_width_k:g} K? Give 0.01 (with care) to 0.1 (a jug)."
        )
    return _fixed_point(0.0, [rectangular("the ice bath itself", 0.0, "K", half_width_k, 1.0)], None)


def refuse_unlikely_pressure(pressure_kpa: float) -> None:
    """Refuse what is no air pressure on the ground. [kPa]

    Raises
    ------
    FixedPointError
        If it is not from 50 to 110 kPa.
    """
    if not LOWEST_KPA <= pressure_kpa <= HIGHEST_KPA:
        raise FixedPointError(
            f"{pressure_kpa:g} kPa is outside {LOWEST_KPA:g} to {HIGHEST_KPA:g} kPa ({10 * LOWEST_KPA:g} to "
            f"{10 * HIGHEST_KPA:g} hPa), the air where people work. Check the number and its unit, and "
            "read it absolute, not above the air's."
        )


def boiling_at_pressure(
    pressure_kpa: float,
    *,
    half_width_kpa: float = BAROMETER_HALF_WIDTH_KPA,
    probe_depth_m: float = PROBE_DEPTH_M,
) -> FixedPoint:
    """Boiling water at station pressure.

    Parameters
    ----------
    pressure_kpa : float
        As the barometer feels it, not reduced to sea level. [kPa]
    half_width_kpa : float
        Anywhere within ± this is equally likely. [kPa]
    probe_depth_m : float
        Probe below the surface; 0 in the steam. [m]

    Raises
    ------
    FixedPointError
        If the pressure is no air pressure on the ground.
    """
    refuse_unlikely_pressure(pressure_kpa)
    slope = boiling_slope_k_per_kpa(pressure_kpa)
    lines = [rectangular("barometer", pressure_kpa, "kPa", half_width_kpa, slope)]
    return _fixed_point(
        boiling_c(pressure_kpa), [*lines, *_water_lines(pressure_kpa, probe_depth_m)], pressure_kpa
    )


def boiling_at_altitude(
    altitude_m: float,
    *,
    half_width_m: float = ALTITUDE_HALF_WIDTH_M,
    probe_depth_m: float = PROBE_DEPTH_M,
) -> FixedPoint:
    """Boiling water where only the altitude is known: weather adds 0.25 K (k = 1).

    Parameters
    ----------
    altitude_m : float
        Above the sea. [m]
    half_width_m : float
        Anywhere within ± this is equally likely. [m]
    probe_depth_m : float
        Probe below the surface; 0 in the steam. [m]

    Raises
    ------
    FixedPointError
        If no shop stands so low or so high.
    """
    pressure_kpa = standard_pressure_kpa(altitude_m)
    slope = boiling_slope_k_per_kpa(pressure_kpa) * pressure_slope_kpa_per_m(altitude_m)
    lines = [
        rectangular("altitude", altitude_m, "m", half_width_m, slope),
        normal("weather", 0.0, "K", WEATHER_U_K, 1.0),
    ]
    return _fixed_point(
        boiling_c(pressure_kpa), [*lines, *_water_lines(pressure_kpa, probe_depth_m)], pressure_kpa
    )


def refuse_sea_level_pressure(pressure_kpa: float, altitude_m: float) -> None:
    """Refuse a pressure that cannot be the station's at its altitude.

    Raises
    ------
    FixedPointError
        If it is further from the standard atmosphere there than weather takes it.
    """
    expected_kpa = standard_pressure_kpa(altitude_m)
    if abs(pressure_kpa - expected_kpa) <= WEATHER_SPAN_KPA:
        return
    reduced = abs(pressure_kpa - standard_pressure_kpa(0.0)) <= WEATHER_SPAN_KPA
    guess = "It looks reduced to sea level, as weather reports are. " if reduced else ""
    raise FixedPointError(
        f"{pressure_kpa:.4g} kPa cannot be the air pressure at {altitude_m:g} m, where it is "
        f"{expected_kpa:.3g} ± {WEATHER_SPAN_KPA:g} kPa. {guess}Read a barometer on the spot, or give the "
        "altitude alone."
    )


def _water_lines(pressure_kpa: float, probe_depth_m: float) -> list[BudgetLine]:
    if not 0.0 <= probe_depth_m <= 0.5:
        raise FixedPointError(
            f"A probe {100 * probe_depth_m:g} cm under water? Hang it 0 (in the steam) to 50 cm deep."
        )
    slope = boiling_slope_k_per_kpa(pressure_kpa)
    return [
        rectangular("depth of the probe", 0.0, "K", slope * KPA_PER_METRE * probe_depth_m, 1.0),
        rectangular("matter dissolved in the water", 0.0, "K", DISSOLVED_HALF_WIDTH_K, 1.0),
        normal("saturation equation", 0.0, "K", EQUATION_U_K, 1.0),
    ]


def _fixed_point(temperature_c: float, lines: Sequence[BudgetLine], pressure_kpa: float | None) -> FixedPoint:
    budget = combine(estimate=temperature_c, unit="°C", lines=lines, coverage=CoverageRule.DOMINANT_WITH_REST)
    return FixedPoint(temperature_c=temperature_c, budget=budget, pressure_kpa=pressure_kpa)
