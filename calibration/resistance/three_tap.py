"""The three-tap ratio: what is left when switches and leads fall out.

A reference resistor and the device stand in series. Taps 0 and 1 are the ends of the reference,
taps 1 and 2 the ends of the device, so with counts c0, c1, c2

    R = R_ref (c1 - c2) / (c0 - c1),    x = (c1 - c2) / (c0 - c2) = R / (R + R_ref)

and everything above tap 0 and below tap 2 cancels, as does the converter's offset.
"""

#: Counts of full scale of the ratio count 4096 x.
FULL_SCALE_COUNT = 4096.0


def ratio_count(resistance_ohm: float, reference_ohm: float) -> float:
    """Ratio count 4096 x that a resistance would give.

    Parameters
    ----------
    resistance_ohm : float
        Device under test. [Ω]
    reference_ohm : float
        Reference resistor of the range. [Ω]
    """
    return FULL_SCALE_COUNT * resistance_ohm / (resistance_ohm + reference_ohm)


def resistance_from_ratio_count(count: float, reference_ohm: float) -> float:
    """Resistance from a ratio count. [Ω]

    Parameters
    ----------
    count : float
        Ratio count 4096 x.
    reference_ohm : float
        Reference resistor of the range. [Ω]

    Raises
    ------
    ValueError
        If ``count`` lies at or beyond a rail.
    """
    if not 0.0 < count < FULL_SCALE_COUNT:
        raise ValueError(f"A ratio of {count:g} counts is at a rail (0 to 4096): no ohms follow from it.")
    return reference_ohm * count / (FULL_SCALE_COUNT - count)


def ohm_per_count(count: float, reference_ohm: float) -> float:
    """Sensitivity dR/dcount at a ratio count. [Ω]"""
    return reference_ohm * FULL_SCALE_COUNT / (FULL_SCALE_COUNT - count) ** 2
