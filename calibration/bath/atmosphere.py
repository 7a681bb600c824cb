"""Air pressure at an altitude, where no barometer is at hand."""

from calibration.errors import CalibrationError

#: Places where people work. [m]
LOWEST_M, HIGHEST_M = -450.0, 5000.0

SEA_LEVEL_KPA = 101.325
_SEA_LEVEL_K = 288.15
_LAPSE_K_PER_M = 0.0065
_EARTH_RADIUS_M = 6_356_766.0
# g0 M / (R* L), of the same standard.
_EXPONENT = 9.80665 * 28.9644 / (8314.32 * _LAPSE_K_PER_M)


class AltitudeError(CalibrationError):
    """An altitude at which no shop stands."""


def refuse_unlikely_altitude(altitude_m: float) -> None:
    """Refuse an altitude at which no shop stands. [m]

    Raises
    ------
    AltitudeError
        If it is not from -450 to 5000 m.
    """
    if not LOWEST_M <= altitude_m <= HIGHEST_M:
        raise AltitudeError(
            f"{altitude_m:g} m is outside {LOWEST_M:g} to {HIGHEST_M:g} m, where shops stand. "
            "Check the number and its unit, or read a barometer."
        )


def standard_pressure_kpa(altitude_m: float) -> float:
    """Mean air pressure at an altitude above the sea. [kPa]

    Parameters
    ----------
    altitude_m : float
        Geometric. [m]

    Raises
    ------
    AltitudeError
        If it is not from -450 to 5000 m.

    References
    ----------
    U.S. Standard Atmosphere, 1976, equations 18 and 33a.
    """
    refuse_unlikely_altitude(altitude_m)
    return float(SEA_LEVEL_KPA * _relative_air_k(altitude_m) ** _EXPONENT)


def pressure_slope_kpa_per_m(altitude_m: float) -> float:
    """Change of the mean air pressure with altitude, about -0.01 kPa/m. [kPa/m]"""
    # The altitudes of the ground are so small against the Earth that geopotential goes metre by metre.
    fall = -_EXPONENT * _LAPSE_K_PER_M / (_SEA_LEVEL_K * _relative_air_k(altitude_m))
    return standard_pressure_kpa(altitude_m) * fall


def _relative_air_k(altitude_m: float) -> float:
    geopotential_m = _EARTH_RADIUS_M * altitude_m / (_EARTH_RADIUS_M + altitude_m)
    return 1.0 - _LAPSE_K_PER_M * geopotential_m / _SEA_LEVEL_K
