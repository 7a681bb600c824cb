"""The Sakuma-Hattori equation: a closed form that stands for Planck's law over a band.

The signal of a black body is ``S = C / (exp(c2 / (A T + B)) - 1)``. A and B from the textbook formula
miss an 8 to 14 µm band by tenths of a kelvin; refitted to the band the same form is good to a millikelvin.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy import optimize

from calibration.infrared.errors import InfraredError
from calibration.infrared.planck import SECOND_RADIATION_CONSTANT_UM_K, PlanckBand, within_span
from calibration.temperature_scale import celsius_from_kelvin, kelvin_from_celsius

_FIT_POINTS = 61


@dataclass(frozen=True, slots=True, kw_only=True)
class SakumaHattori:
    """Planckian form of the Sakuma-Hattori equation.

    Attributes
    ----------
    a_um, b_um_k : float
        A and B. [µm], [µm K]
    scale : float
        C, in whatever the signal is counted in.
    c2_um_k : float
        Second radiation constant that A and B were worked out with. [µm K]

    References
    ----------
    F. Sakuma and S. Hattori, Establishing a practical temperature standard by using a narrow-band
    radiation thermometer (1982); the form as reprinted in encyclopedias.
    """

    a_um: float
    b_um_k: float
    scale: float = 1.0
    c2_um_k: float = SECOND_RADIATION_CONSTANT_UM_K

    def signal(self, temperature_c: float) -> float:
        """Signal of a black body. [unit of scale]"""
        return self.scale / math.expm1(self.c2_um_k / self._place(within_span(temperature_c)))

    def slope_per_k(self, temperature_c: float) -> float:
        """Change of `signal` with temperature. [unit of scale / K]"""
        place, signal = self._place(temperature_c), self.signal(temperature_c)
        growth = math.exp(self.c2_um_k / place)
        return signal**2 * self.a_um * self.c2_um_k * growth / (self.scale * place**2)

    def temperature_c(self, signal: float) -> float:
        """Temperature of the black body that gives a signal. [°C]

        Raises
        ------
        InfraredError
            If the signal is not positive.
        """
        if not signal > 0.0:
            raise InfraredError(
                "Nothing would be left to radiate: look again at the emissivities and at the surroundings."
            )
        place = self.c2_um_k / math.log1p(self.scale / signal)
        return within_span(celsius_from_kelvin((place - self.b_um_k) / self.a_um))

    def _place(self, temperature_c: float) -> float:
        return self.a_um * kelvin_from_celsius(temperature_c) + self.b_um_k


def textbook(band: PlanckBand, *, scale: float = 1.0) -> SakumaHattori:
    """A and B from centre and width of a band, as commonly printed.

    ``A = λ0 (1 - Δλ² / (2 λ0²))`` and ``B = c2 Δλ² / (24 λ0²)``. Good for a narrow band only.
    """
    centre_um, width_um = 0.5 * (band.from_um + band.to_um), band.to_um - band.from_um
    squared = (width_um / centre_um) ** 2
    return SakumaHattori(
        a_um=centre_um * (1.0 - squared / 2.0),
        b_um_k=SECOND_RADIATION_CONSTANT_UM_K * squared / 24.0,
        scale=scale,
    )


def normalised(curve: SakumaHattori, band: PlanckBand, *, at_c: float) -> SakumaHattori:
    """``curve`` scaled so that it gives the band's own signal at one temperature. [°C]"""
    return SakumaHattori(
        a_um=curve.a_um,
        b_um_k=curve.b_um_k,
        scale=curve.scale * band.signal(at_c) / curve.signal(at_c),
        c2_um_k=curve.c2_um_k,
    )


def refitted(band: PlanckBand, *, from_c: float = 0.0, to_c: float = 150.0) -> SakumaHattori:
    """A, B and C fitted to a band, in kelvin over a span.

    Least squares at Chebyshev's places, which stand closer towards the ends: so the largest error comes
    near the smallest there can be.

    Parameters
    ----------
    band : PlanckBand
    from_c, to_c : float
        Span that matters. [°C]

    Raises
    ------
    InfraredError
        If the span is empty or does not lie within that of the formulas.
    """
    if not within_span(from_c) < within_span(to_c):
        raise InfraredError(f"From {from_c:g} to {to_c:g} °C there is nothing to fit: begin with the colder.")
    places = np.cos(np.pi * (np.arange(_FIT_POINTS) + 0.5) / _FIT_POINTS)
    temperatures_c = 0.5 * (from_c + to_c) + 0.5 * (to_c - from_c) * places
    signals = np.array([band.signal(float(temperature_c)) for temperature_c in temperatures_c])
    start = normalised(textbook(band), band, at_c=0.5 * (from_c + to_c))

    def residuals_k(parameters: np.ndarray) -> np.ndarray:
        a_um, b_um_k, log_scale = parameters
        place = start.c2_um_k / np.log1p(np.exp(log_scale) / signals)
        return np.asarray(celsius_from_kelvin(0.0) + (place - b_um_k) / a_um - temperatures_c)

    found = optimize.least_squares(
        residuals_k,
        (start.a_um, start.b_um_k, math.log(start.scale)),
        x_scale=(1.0, 100.0, 0.1),
        xtol=1e-15,
        ftol=1e-15,
        gtol=1e-15,
    )
    a_um, b_um_k, log_scale = (float(parameter) for parameter in found.x)
    return SakumaHattori(a_um=a_um, b_um_k=b_um_k, scale=math.exp(log_scale))


def largest_error_k(curve: SakumaHattori, band: PlanckBand, *, from_c: float, to_c: float) -> float:
    """Largest difference between the temperature by ``curve`` and the true one over a span. [K]"""
    return max(
        abs(curve.temperature_c(band.signal(float(temperature_c))) - float(temperature_c))
        for temperature_c in np.linspace(from_c, to_c, 4 * _FIT_POINTS)
    )
