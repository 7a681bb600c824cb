"""What an ohm means in kelvin on a coolant sender: for people, beside an error in ohms."""

from functools import lru_cache

from calibration.curves import ReferenceCurve, load_curve

#: Curve of the method's goal for the bench: 2.5 kΩ at 20 °C (0.05 K from 25 to 97 °C).
EQUIVALENT_CURVE = "ntc-2k5-20c"
EQUIVALENT_WORDS = (
    f"In kelvin: what a sender that follows {EQUIVALENT_CURVE} would be misread by at that resistance; a "
    "resistance read too high shows too cold."
)


def k_per_ohm(resistance_ohm: float) -> float | None:
    """Change of the temperature shown with the resistance, None beyond the curve. [K/Ω]"""
    curve = _curve()
    return curve.sensitivity_k_per_ohm(resistance_ohm) if curve.reaches(resistance_ohm) else None


@lru_cache(maxsize=1)
def _curve() -> ReferenceCurve:
    return load_curve(EQUIVALENT_CURVE)
