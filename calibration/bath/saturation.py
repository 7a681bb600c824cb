"""Where water boils: the saturation line of IAPWS-IF97."""

import math

from calibration.errors import CalibrationError
from calibration.temperature_scale import celsius_from_kelvin, kelvin_from_celsius

# Coefficients n1 to n10 of region 4, IAPWS R7-97(2012), Table 34.
_N = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)

#: Ends of the saturation line: 0 °C and the critical point. [K], [kPa]
COLDEST_K, HOTTEST_K = 273.15, 647.096
LOWEST_SATURATION_KPA, HIGHEST_SATURATION_KPA = 0.611213, 22064.0


class SaturationError(CalibrationError):
    """A pressure or temperature off the saturation line."""


def boiling_c(pressure_kpa: float) -> float:
    """Temperature at which pure water boils. [°C]

    Parameters
    ----------
    pressure_kpa : float
        Absolute. [kPa]

    Raises
    ------
    SaturationError
        If the pressure is not from 0.611 kPa to 22 064 kPa.

    References
    ----------
    IAPWS R7-97(2012), section 8.2, equation 31 (the exact inverse of equation 30).
    """
    if not LOWEST_SATURATION_KPA <= pressure_kpa <= HIGHEST_SATURATION_KPA:
        raise SaturationError(
            f"At {pressure_kpa:g} kPa water does not boil between 0 °C and its critical point "
            f"({LOWEST_SATURATION_KPA:g} to {HIGHEST_SATURATION_KPA:g} kPa). Check the number and its unit."
        )
    root = (pressure_kpa / 1000.0) ** 0.25
    e = root**2 + _N[2] * root + _N[5]
    f = _N[0] * root**2 + _N[3] * root + _N[6]
    g = _N[1] * root**2 + _N[4] * root + _N[7]
    d = 2.0 * g / (-f - math.sqrt(f**2 - 4.0 * e * g))
    total = _N[9] + d
    return celsius_from_kelvin(0.5 * (total - math.sqrt(total**2 - 4.0 * (_N[8] + _N[9] * d))))


def saturation_kpa(temperature_c: float) -> float:
    """Pressure at which pure water boils at a temperature. [kPa]

    Raises
    ------
    SaturationError
        If the temperature is not from 0 °C to 373.946 °C.

    References
    ----------
    IAPWS R7-97(2012), section 8.1, equation 30.
    """
    temperature_k = kelvin_from_celsius(temperature_c)
    if not COLDEST_K <= temperature_k <= HOTTEST_K:
        raise SaturationError(
            f"{temperature_c:g} °C is not between 0 °C and the critical point of water, 373.946 °C."
        )
    place = temperature_k + _N[8] / (temperature_k - _N[9])
    a = place**2 + _N[0] * place + _N[1]
    b = _N[2] * place**2 + _N[3] * place + _N[4]
    c = _N[5] * place**2 + _N[6] * place + _N[7]
    return float(1000.0 * (2.0 * c / (-b + math.sqrt(b**2 - 4.0 * a * c))) ** 4)


def boiling_slope_k_per_kpa(pressure_kpa: float) -> float:
    """Change of boiling with pressure. [K/kPa]"""
    step_kpa = 1e-4 * pressure_kpa
    rise_k = boiling_c(pressure_kpa + step_kpa) - boiling_c(pressure_kpa - step_kpa)
    return rise_k / (2.0 * step_kpa)
