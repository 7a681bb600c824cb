"""How simulated thermistors behave. Kept apart from the science that judges them."""

import math
import tomllib
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

ZERO_C_K = 273.15
NOMINAL_C = 25.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ThermistorLaw:
    """A law 1/T = a + b ln R + c (ln R)³ and one part's departure from it.

    Attributes
    ----------
    r25_factor : float
        Resistance at 25 °C over the law's.
    beta_factor : float
        Steepness of ln R over the law's, about 25 °C.
    """

    a: float
    b: float
    c: float
    r25_factor: float = 1.0
    beta_factor: float = 1.0

    def resistance_ohm(self, temperature_c: float) -> float:
        """Resistance of this part. [Ω]"""
        at_25 = self._log_resistance(NOMINAL_C)
        steep = (self._log_resistance(temperature_c) - at_25) * self.beta_factor
        return math.exp(at_25 + steep) * self.r25_factor

    def _log_resistance(self, temperature_c: float) -> float:
        """Real root ln R of the cubic, by Cardano."""
        half = (self.a - 1.0 / (temperature_c + ZERO_C_K)) / (2.0 * self.c)
        root = math.sqrt((self.b / (3.0 * self.c)) ** 3 + half * half)
        return math.cbrt(root - half) - math.cbrt(root + half)

    def with_shifts(self, *, r25: float, beta: float) -> "ThermistorLaw":
        """Same part with its R25 and its beta off by these shares."""
        return ThermistorLaw(
            a=self.a,
            b=self.b,
            c=self.c,
            r25_factor=self.r25_factor * (1.0 + r25),
            beta_factor=self.beta_factor * (1.0 + beta),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class LawWithSpread:
    """A law, and how far single parts depart from it (half widths, uniform)."""

    law: ThermistorLaw
    r25_spread: float
    beta_spread: float


def load_laws() -> tuple[LawWithSpread, LawWithSpread]:
    """Laws of the simulated senders and of the simulated probe."""
    data = tomllib.loads(files("rig.sim").joinpath("sender_law.toml").read_text(encoding="utf-8"))
    return _law(data), _law(data["probe"])


def _law(table: dict[str, Any]) -> LawWithSpread:
    return LawWithSpread(
        law=ThermistorLaw(a=table["a"], b=table["b"], c=table["c"]),
        r25_spread=table["r25_spread"],
        beta_spread=table["beta_spread"],
    )
