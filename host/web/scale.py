"""°C or °F: the reader's choice, kept in a cookie, and every temperature in both where hands follow it."""

import re
from enum import StrEnum

from flask import Response, g, request

from calibration.rounding import decimals_of, rounded_text
from calibration.temperature_scale import FAHRENHEIT_PER_K, celsius_from_fahrenheit, fahrenheit_from_celsius

#: Decimals of a °C to which a typed temperature is kept.
_SET_POINT_PLACES = 2
_COOKIE = "ohmbath-scale"
_YEAR_S = 31_536_000
_WRITTEN = re.compile(r"(?P<first>-?\d+(?:\.\d+)?)(?: to (?P<last>-?\d+(?:\.\d+)?))? °C")
_NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=(?:°C|°F|K|Ω|s|min|%)(?:\W|$))")

#: Field of each form: scale of the page it stood on.
SCALE_FIELD = "page_scale"


class Scale(StrEnum):
    """Scale that leads on the page."""

    CELSIUS = "c"
    FAHRENHEIT = "f"

    @property
    def unit(self) -> str:
        """As printed."""
        return "°F" if self is Scale.FAHRENHEIT else "°C"

    @property
    def other(self) -> "Scale":
        """The one that stands behind, smaller."""
        return Scale.CELSIUS if self is Scale.FAHRENHEIT else Scale.FAHRENHEIT


def chosen_scale(usual: Scale) -> Scale:
    """Scale of this request: of the page a form stood on, the query, the cookie, or the usual one."""
    if request.form.get(SCALE_FIELD) in set(Scale):
        return Scale(request.form[SCALE_FIELD])
    for word in (request.args.get("scale"), request.cookies.get(_COOKIE)):
        if word in tuple(Scale):
            return Scale(word)
    return usual


def remember_scale(response: Response) -> Response:
    """Keep a choice that came with the query; it is a preference and carries no authority."""
    if request.args.get("scale") in tuple(Scale):
        response.set_cookie(_COOKIE, g.scale.value, max_age=_YEAR_S, samesite="Lax", httponly=True)
    return response


def degrees(temperature_c: float, scale: Scale, *, expanded_u_k: float) -> str:
    """A temperature rounded to its uncertainty, without its unit."""
    if scale is Scale.FAHRENHEIT:
        places = decimals_of(expanded_u_k * FAHRENHEIT_PER_K)
        return rounded_text(fahrenheit_from_celsius(temperature_c), places)
    return rounded_text(temperature_c, decimals_of(expanded_u_k))


def plain_degrees(temperature_c: float, scale: Scale) -> str:
    """A set point as a person says it: 60 °C, 140 °F."""
    value = temperature_c if scale is Scale.CELSIUS else fahrenheit_from_celsius(temperature_c)
    return f"{round(value, 1):g} {scale.unit}"


def in_scale(text: str, scale: Scale) -> str:
    """Words with every °C in them turned into the chosen scale."""
    return _together(text if scale is Scale.CELSIUS else _WRITTEN.sub(_in_fahrenheit, text))


def in_both_scales(text: str, scale: Scale) -> str:
    """Words with every °C in them said on both scales, the chosen one first."""
    if scale is Scale.FAHRENHEIT:
        return _together(_WRITTEN.sub(lambda found: f"{_in_fahrenheit(found)} ({found[0]})", text))
    return _together(_WRITTEN.sub(lambda found: f"{found[0]} ({_in_fahrenheit(found)})", text))


def sentence(text: str) -> str:
    """Words as a sentence begins, without touching the rest."""
    return text[:1].upper() + text[1:]


def _together(text: str) -> str:
    """No line ends between a number and its unit."""
    return _NUMBER_AND_UNIT.sub("\u00a0", text)


def _in_fahrenheit(found: re.Match[str]) -> str:
    first, last = _converted(found["first"]), _converted(found["last"])
    return f"{first} to {last} °F" if last else f"{first} °F"


def _converted(written: str | None) -> str:
    """As many decimals as were written; a Fahrenheit degree is the smaller one.

    A temperature that was typed in whole °F is kept to a hundredth of a °C: it is said whole again.
    """
    if written is None:
        return ""
    places = len(written.partition(".")[2])
    whole_f = round(fahrenheit_from_celsius(float(written)))
    if places == _SET_POINT_PLACES and rounded_text(celsius_from_fahrenheit(whole_f), places) == written:
        return f"{whole_f}"
    return rounded_text(fahrenheit_from_celsius(float(written)), places)
