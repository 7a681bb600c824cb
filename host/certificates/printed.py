"""Every number of a certificate as it stands on the paper, rounded to its uncertainty."""

import math
from dataclasses import dataclass

from calibration.conformity import Verdict
from calibration.rounding import decimals_of, rounded_text, tabled_limit_text
from calibration.temperature_scale import FAHRENHEIT_PER_K
from calibration.uncertainty.budget import BudgetLine
from host.certificates.as_found import FoundPoint
from host.certificates.certificate import Certificate, CertifiedPoint, Witness

#: Digits of a fitted coefficient: they are correlated, so that rounding each to its own
#: uncertainty would move the curve (JCGM 100, 7.2.6).
COEFFICIENT_DIGITS = 8
_SUPERSCRIPTS = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintedPoint:
    """One row of the table, in the very characters of the paper.

    Attributes
    ----------
    temperature_c, temperature_f, indicated_c, indicated_f : str
        [°C] and [°F]
    resistance_ohm, expanded_u_resistance_ohm : str
        Resistance to the place its expanded uncertainty reaches. [Ω]
    error_k, error_f, expanded_u_k, expanded_u_f, limit_k : str
        Differences. [K], and [°F] for those in Fahrenheit degrees
    k : str
    verdict : Verdict
    """

    temperature_c: str
    temperature_f: str
    resistance_ohm: str
    expanded_u_resistance_ohm: str
    indicated_c: str
    indicated_f: str
    error_k: str
    error_f: str
    expanded_u_k: str
    expanded_u_f: str
    k: str
    limit_k: str
    verdict: Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintedWitness:
    """A witness in the characters of the paper. [°C] and [K]"""

    temperature_c: str
    expanded_u_k: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintedFound:
    """A point as found in the characters of the paper. [°C] and [K]"""

    temperature_c: str
    error_k: str
    expanded_u_k: str


def printed_found(point: FoundPoint) -> PrintedFound:
    """A point as found, each number to the place its expanded uncertainty reaches."""
    places = decimals_of(point.expanded_u_k)
    return PrintedFound(
        temperature_c=rounded_text(point.temperature_c, places),
        error_k=signed_text(point.error_k, places),
        expanded_u_k=rounded_text(point.expanded_u_k, places),
    )


def printed_points(certificate: Certificate) -> tuple[PrintedPoint, ...]:
    """Rows of the table, in the order of the certificate."""
    return tuple(printed_point(point) for point in certificate.points)


def printed_point(point: CertifiedPoint) -> PrintedPoint:
    """One row: U to two significant digits, what it belongs to to the same place.

    Raises
    ------
    ValueError
        If an uncertainty is not positive.
    """
    places = decimals_of(point.expanded_u_k)
    expanded_u_f = point.expanded_u_k * FAHRENHEIT_PER_K
    places_f = decimals_of(expanded_u_f)
    expanded_u_ohm = point.k * point.u_resistance_ohm
    places_ohm = decimals_of(expanded_u_ohm)
    return PrintedPoint(
        temperature_c=rounded_text(point.temperature_c, places),
        temperature_f=rounded_text(fahrenheit(point.temperature_c), places_f),
        resistance_ohm=rounded_text(point.resistance_ohm, places_ohm),
        expanded_u_resistance_ohm=rounded_text(expanded_u_ohm, places_ohm),
        indicated_c=rounded_text(point.indicated_c, places),
        indicated_f=rounded_text(fahrenheit(point.indicated_c), places_f),
        error_k=signed_text(point.error_k, places),
        error_f=signed_text(point.error_k * FAHRENHEIT_PER_K, places_f),
        expanded_u_k=rounded_text(point.expanded_u_k, places),
        expanded_u_f=rounded_text(expanded_u_f, places_f),
        k=rounded_text(point.k, 2),
        limit_k=tabled_limit_text(point.limit_k, point.expanded_u_k),
        verdict=point.verdict,
    )


def printed_witness(witness: Witness) -> PrintedWitness:
    """A witness rounded to its own expanded uncertainty."""
    places = decimals_of(witness.expanded_u_k)
    return PrintedWitness(
        temperature_c=rounded_text(witness.temperature_c, places),
        expanded_u_k=rounded_text(witness.expanded_u_k, places),
    )


def fahrenheit(temperature_c: float) -> float:
    """Temperature, not a difference, in degrees Fahrenheit. [°F]"""
    return temperature_c * FAHRENHEIT_PER_K + 32.0


def signed_limit_text(limit: float, expanded_u: float) -> str:
    """One of two limits with its sign; nothing has none."""
    text = tabled_limit_text(limit, expanded_u)
    return f"+{text}" if limit > 0 else text


def signed_text(number: float, decimals: int) -> str:
    """A difference with its sign; one that rounds to nothing has none."""
    text = rounded_text(number, decimals)
    return f"+{text}" if number > 0 and text.strip("0.") else text


def scientific(number: float, digits: int) -> str:
    """A number with so many significant digits, very large or small ones as a power of ten."""
    if number == 0:
        return "0"
    mantissa, exponent = f"{number:.{digits - 1}e}".split("e")
    power = int(exponent)
    if -2 <= power < digits:
        return f"{number:.{max(digits - 1 - power, 0)}f}"
    return f"{mantissa} × 10{str(power).translate(_SUPERSCRIPTS)}"


def estimate_text(line: BudgetLine) -> str:
    """Estimate of a budget line to the place its standard uncertainty reaches."""
    if not line.standard_u > 0:
        return scientific(line.estimate, 4)
    return rounded_text(line.estimate, decimals_of(line.standard_u))


def degrees_of_freedom_text(degrees_of_freedom: float) -> str:
    """Degrees of freedom cut to the whole number below (JCGM 100, G.4.1); many are as good as endless."""
    if math.isinf(degrees_of_freedom):
        return "∞"
    return "> 1000" if degrees_of_freedom > 1000 else str(math.floor(degrees_of_freedom))
