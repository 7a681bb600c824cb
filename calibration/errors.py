"""What the science refuses, in words for the person at the bench.

CalibrationError
├── CurveError              a reference curve that cannot be used, or not for this
│   └── CurveRangeError     a temperature or a resistance the curve does not cover
├── FitError                points that do not determine the curve asked for
├── DriftError              certificates that show no drift
└── ThermometerError        a thermometer of which nothing is known at a temperature
"""


class CalibrationError(ValueError):
    """Base of every refusal: says what, the limit and the next step."""


class CurveError(CalibrationError):
    """A reference curve that cannot be used, or not for what was asked."""


class CurveRangeError(CurveError):
    """A temperature or a resistance that a curve does not cover.

    Attributes
    ----------
    asked, lowest, highest : float
        What was asked for, and the limits. [°C or Ω]
    unit : str
    """

    def __init__(self, message: str, *, asked: float, lowest: float, highest: float, unit: str) -> None:
        super().__init__(message)
        self.asked = asked
        self.lowest = lowest
        self.highest = highest
        self.unit = unit


class FitError(CalibrationError):
    """Points that do not determine the curve asked for."""
