"""How often a pass is taken: on a grid of rig time, at the usual rate or the one that was ordered."""

import math

from rig.errors import OrderRefused

USUAL_PERIOD_S = 0.25
SLOWEST_PERIOD_S = 10.0


class Pace:
    """The grid of passes; a late pass is left out, not made up for."""

    def __init__(self) -> None:
        self.period_s = USUAL_PERIOD_S

    def set_rate(self, passes_per_s: float) -> None:
        """Take so many passes a second from the next one on. [1/s]

        Raises
        ------
        OrderRefused
            If that is too often, too seldom, or no whole multiple of the usual period.
        """
        steps = 1 / (passes_per_s * USUAL_PERIOD_S) if passes_per_s > 0 else 0.0
        if not 1 <= steps <= SLOWEST_PERIOD_S / USUAL_PERIOD_S or abs(steps - round(steps)) > 1e-6:
            raise OrderRefused(
                f"Cannot take {passes_per_s:g} passes a second: the period must be a whole multiple of "
                f"{USUAL_PERIOD_S:g} s, up to {SLOWEST_PERIOD_S:g} s. Ask for 4, 2, 1, 0.5, 0.2 or 0.1."
            )
        self.period_s = round(steps) * USUAL_PERIOD_S

    def duty(self, usual_duty: float) -> float:
        """What is left of the usual duty where passes come more seldom; always stays always. [1]"""
        return usual_duty if usual_duty == 1.0 else usual_duty * USUAL_PERIOD_S / self.period_s

    def reset(self) -> None:
        """Go back to the usual rate."""
        self.period_s = USUAL_PERIOD_S

    def next_after(self, rig_time_s: float) -> float:
        """First time of the grid after ``rig_time_s``. [s]"""
        return (math.floor(rig_time_s / self.period_s + 1e-9) + 1) * self.period_s

    def first_from(self, rig_time_s: float) -> float:
        """First time of the grid that is not before ``rig_time_s``. [s]"""
        return math.ceil(rig_time_s / self.period_s - 1e-9) * self.period_s
