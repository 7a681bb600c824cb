"""The decade box as its own certificate gives it."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

_DIGIT_STEPS = (8, 4, 2, 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class DecadeBoxCertificate:
    """Certified values of a box whose decades are made of steps 1, 2, 4 and 8, or of one for each digit.

    Attributes
    ----------
    residual_ohm : float
        Resistance at the terminals with every step out. [Ω]
    step_ohm : Mapping[int, float]
        Certified value by nominal value of each step. [Ω]
    expanded_u_relative : float
        Part of the expanded uncertainty that goes with the value. [1]
    expanded_u_ohm : float
        Part that does not. [Ω]
    k : float
        Coverage factor of both.
    """

    residual_ohm: float
    step_ohm: Mapping[int, float]
    expanded_u_relative: float
    expanded_u_ohm: float
    k: float

    def true_ohm(self, setting_ohm: int) -> float:
        """Certified resistance of a setting. [Ω]

        Raises
        ------
        ValueError
            If the box cannot make the setting.
        """
        return self.residual_ohm + math.fsum(self.step_ohm[step] for step in self.steps_of(setting_ohm))

    def steps_of(self, setting_ohm: int) -> tuple[int, ...]:
        """Nominal values of the steps in circuit at a setting. [Ω]

        Raises
        ------
        ValueError
            If the box cannot make the setting.
        """
        rest, steps, decade = setting_ohm, [], 1
        while rest > 0:
            rest, digit = divmod(rest, 10)
            # A dial with a resistor for each position has a step for each digit, others add some up.
            if digit * decade in self.step_ohm:
                steps.append(digit * decade)
                digit = 0
            for weight in _DIGIT_STEPS:
                if digit >= weight:
                    digit -= weight
                    steps.append(weight * decade)
            decade *= 10
        if setting_ohm < 0 or any(step not in self.step_ohm for step in steps):
            raise ValueError(
                f"The decade box cannot make {setting_ohm} Ω: its certificate lists no such steps. "
                f"Choose a whole value up to {self.highest_ohm} Ω."
            )
        return tuple(steps)

    @property
    def highest_ohm(self) -> int:
        """Largest setting, nine of each decade. [Ω]"""
        return 9 * sum(step for step in self.step_ohm if str(step)[0] == "1")

    def relative_standard_u(self) -> float:
        """Standard uncertainty of the part that goes with the value. [1]"""
        return self.expanded_u_relative / self.k

    def fixed_standard_u_ohm(self) -> float:
        """Standard uncertainty of the part that does not. [Ω]"""
        return self.expanded_u_ohm / self.k
