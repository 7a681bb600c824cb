"""Planck's law over the band of an infrared thermometer.

Constants are exact since 2019 (SI brochure, 9th edition; CODATA 2018 gives the same digits).
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy import optimize

from calibration.infrared.errors import InfraredError
from calibration.temperature_scale import kelvin_from_celsius

PLANCK_J_S = 6.62607015e-34
LIGHT_M_PER_S = 299_792_458.0
BOLTZMANN_J_PER_K = 1.380649e-23

#: c2 = h c / k. [µm K]
SECOND_RADIATION_CONSTANT_UM_K = 1e6 * PLANCK_J_S * LIGHT_M_PER_S / BOLTZMANN_J_PER_K

#: 2 h c², with radiance per micrometre of wavelength. [W µm⁴ / (m² sr)]
FIRST_RADIATION_CONSTANT = 2.0 * PLANCK_J_S * LIGHT_M_PER_S**2 * 1e24

#: Span in which the bench speaks of infrared temperatures. [°C]
COLDEST_C, HOTTEST_C = -60.0, 500.0

# Gauss-Legendre: an integrand this smooth is exact to double precision with far fewer nodes.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(48)

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanckBand:
    """A thermometer that sees all wavelengths of its band alike, and none beside it.

    Attributes
    ----------
    from_um, to_um : float
        Ends of the band. [µm]
    """

    from_um: float
    to_um: float

    def __post_init__(self) -> None:
        if not 0.0 < self.from_um < self.to_um < math.inf:
            raise InfraredError(
                f"A band from {self.from_um:g} to {self.to_um:g} µm is none: give a shorter wavelength first."
            )

    def signal(self, temperature_c: float) -> float:
        """Radiance of a black body within the band. [W / (m² sr)]

        Raises
        ------
        InfraredError
            If ``temperature_c`` is outside -60 to 500 °C.

        References
        ----------
        M. F. Modest, Radiative Heat Transfer, Planck's law; integrated by Gauss-Legendre quadrature.
        """
        temperature_k = kelvin_from_celsius(within_span(temperature_c))
        wavelength_um, weight_um = _quadrature(self.from_um, self.to_um)
        return float(weight_um @ spectral_radiance(wavelength_um, temperature_k))

    def slope_per_k(self, temperature_c: float) -> float:
        """Change of `signal` with temperature. [W / (m² sr K)]"""
        temperature_k = kelvin_from_celsius(within_span(temperature_c))
        wavelength_um, weight_um = _quadrature(self.from_um, self.to_um)
        exponent = SECOND_RADIATION_CONSTANT_UM_K / (wavelength_um * temperature_k)
        relative = exponent / (-np.expm1(-exponent)) / temperature_k
        return float(weight_um @ (spectral_radiance(wavelength_um, temperature_k) * relative))

    def temperature_c(self, signal: float) -> float:
        """Temperature of the black body that gives a signal. [°C]

        Raises
        ------
        InfraredError
            If no temperature from -60 to 500 °C gives it.
        """
        lowest, highest = self.signal(COLDEST_C), self.signal(HOTTEST_C)
        if not lowest <= signal <= highest:
            side = f"colder than {COLDEST_C:g}" if signal < lowest else f"hotter than {HOTTEST_C:g}"
            raise InfraredError(
                f"That radiance belongs to something {side} °C, which this bench does not measure. "
                "Look again at the emissivities and at what the surface mirrors."
            )
        return float(
            optimize.brentq(lambda guess_c: self.signal(guess_c) - signal, COLDEST_C, HOTTEST_C, xtol=1e-10)
        )


#: Most handheld thermometers.
EIGHT_TO_FOURTEEN_UM = PlanckBand(from_um=8.0, to_um=14.0)

#: The rig's sensor; from memory of its data sheet, to be confirmed.
RIG_SENSOR_BAND = PlanckBand(from_um=5.5, to_um=14.0)


def spectral_radiance(wavelength_um: FloatArray, temperature_k: float) -> FloatArray:
    """Radiance of a black body for each micrometre of wavelength, by Planck's law. [W / (m² sr µm)]

    Parameters
    ----------
    wavelength_um : array, shape (n,)
        In vacuum. [µm]
    temperature_k : float
        [K]
    """
    exponent = SECOND_RADIATION_CONSTANT_UM_K / (wavelength_um * temperature_k)
    radiance: FloatArray = FIRST_RADIATION_CONSTANT / (wavelength_um**5 * np.expm1(exponent))
    return radiance


def fraction_below(wavelength_temperature_um_k: float) -> float:
    """Share of a black body's radiation at wavelengths below λ, from the product λT.

    Parameters
    ----------
    wavelength_temperature_um_k : float
        λT. [µm K]

    Raises
    ------
    InfraredError
        If the product is not positive.

    References
    ----------
    M. F. Modest, Radiative Heat Transfer (1993), blackbody emissive power table: 15/π⁴ times the
    integral of x³/(exp x - 1) from c2/(λT) upwards.
    """
    if not wavelength_temperature_um_k > 0.0:
        raise InfraredError("Wavelength times temperature must be above zero.")
    start = SECOND_RADIATION_CONSTANT_UM_K / wavelength_temperature_um_k
    # Two smooth stretches; beyond 60 the tail is under 1e-20 of the whole.
    stretches = ((start, max(start, 6.0)), (max(start, 6.0), max(start, 6.0) + 60.0))
    integral = 0.0
    for low, high in stretches:
        x, weight = _quadrature(low, high)
        integral += float(weight @ (x**3 / np.expm1(x))) if high > low else 0.0
    return 15.0 / math.pi**4 * integral


def band_fraction(band: PlanckBand, temperature_c: float) -> float:
    """Share of a black body's radiation within a band."""
    temperature_k = kelvin_from_celsius(temperature_c)
    return fraction_below(band.to_um * temperature_k) - fraction_below(band.from_um * temperature_k)


def within_span(temperature_c: float) -> float:
    """Refuse a temperature of which the bench does not speak.

    Raises
    ------
    InfraredError
        If ``temperature_c`` is outside -60 to 500 °C.
    """
    if not COLDEST_C <= temperature_c <= HOTTEST_C:
        raise InfraredError(
            f"{temperature_c:.4g} °C is outside {COLDEST_C:g} to {HOTTEST_C:g} °C, "
            "the span of the infrared formulas here. Type the temperature again."
        )
    return temperature_c


@lru_cache(maxsize=64)
def _quadrature(low: float, high: float) -> tuple[FloatArray, FloatArray]:
    half = 0.5 * (high - low)
    return half * _NODES + 0.5 * (low + high), half * _WEIGHTS
