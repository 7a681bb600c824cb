"""When a desk was last heard: after too long without a live word from it, relays go off (rule 19)."""

import time
from collections.abc import Callable

LOST_AFTER_S = 30.0


class DeskWatch:
    """Wall time since the last live `stored`.

    Parameters
    ----------
    wall_s : Callable[[], float]
        Monotonic wall time. [s]
    """

    def __init__(self, wall_s: Callable[[], float] = time.monotonic) -> None:
        self._wall_s = wall_s
        self._heard_at_s = wall_s()
        self._said = False

    def hear(self) -> None:
        """Note a live word of the desk that this rig follows."""
        self._heard_at_s = self._wall_s()
        self._said = False

    def is_lost(self) -> bool:
        """Tell whether the desk has been silent for `LOST_AFTER_S`."""
        return self._wall_s() - self._heard_at_s > LOST_AFTER_S

    def just_lost(self) -> bool:
        """Tell whether the desk was lost since the last question; True once for each time."""
        if self._said or not self.is_lost():
            return False
        self._said = True
        return True
