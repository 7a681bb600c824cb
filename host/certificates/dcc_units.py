"""Units of a certificate as D-SI spells them (SI brochure names behind a backslash)."""

UNITS = {
    "°C": r"\degreecelsius",
    "K": r"\kelvin",
    "Ω": r"\ohm",
    "%": r"\percent",
    "": r"\one",
}


def dsi_unit(unit: str) -> str:
    """Spelling of a unit as it is printed.

    Raises
    ------
    KeyError
        If no spelling is known: a result in such a unit cannot be written.
    """
    return UNITS[unit]


def unit_of_uncertainty(unit: str) -> str:
    """Unit of an uncertainty as printed: that of a temperature is a difference, in kelvin."""
    return "K" if unit == "°C" else unit
