"""Which messages to send next: oldest boot first, in order, at most a window beyond what is stored.

It knows no broker and no clock: wall time is handed in.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from rig.outbox import BootState

FIRST_PATIENCE_S = 5.0
LONGEST_PATIENCE_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """Messages ``first`` … ``last`` of one boot."""

    boot: str
    first: int
    last: int


class SendWindow:
    """How far each boot was sent over the connection of now."""

    def __init__(self) -> None:
        self._sent: dict[str, int] = {}
        self._marks: dict[str, int] = {}
        self._progress_at_s = 0.0
        self._patience_s = FIRST_PATIENCE_S

    def restart(self, *, wall_s: float) -> None:
        """Forget what was sent: a new connection, or a desk that was away or restored."""
        self._sent.clear()
        self._progress_at_s = wall_s
        self._patience_s = FIRST_PATIENCE_S

    def due(self, boots: Mapping[str, BootState], *, window: int) -> list[Batch]:
        """What may be sent now.

        Parameters
        ----------
        boots : Mapping[str, BootState]
            All boots, oldest first.
        window : int
            How many messages may be under way beyond the watermarks.
        """
        waiting = [(boot, state) for boot, state in boots.items() if state.watermark < state.last]
        room = window - sum(self._reach(boot, state) - state.watermark for boot, state in waiting)
        batches: list[Batch] = []
        for boot, state in waiting:
            reach = self._reach(boot, state)
            last = min(state.last, reach + max(room, 0))
            if last > reach:
                batches.append(Batch(boot=boot, first=reach + 1, last=last))
                room -= last - reach
            if last < state.last:
                break
        return batches

    def sent(self, batch: Batch, *, wall_s: float) -> None:
        """Note that a batch went out."""
        if not self._sent:
            self._progress_at_s = wall_s
        self._sent[batch.boot] = batch.last

    def lose_patience(self, boots: Mapping[str, BootState], *, wall_s: float) -> bool:
        """Start again from the watermarks where they did not move for too long; each time wait longer."""
        marks = {boot: state.watermark for boot, state in boots.items()}
        under_way = any(self._reach(boot, state) > state.watermark for boot, state in boots.items())
        if marks != self._marks or not under_way:
            self._marks = marks
            self._progress_at_s = wall_s
            self._patience_s = FIRST_PATIENCE_S
            return False
        if wall_s - self._progress_at_s < self._patience_s:
            return False
        self._sent.clear()
        self._progress_at_s = wall_s
        self._patience_s = min(2 * self._patience_s, LONGEST_PATIENCE_S)
        return True

    def patience_left_s(self, *, wall_s: float) -> float:
        """Wall time until `lose_patience` may say yes. [s]"""
        return max(0.0, self._progress_at_s + self._patience_s - wall_s)

    def _reach(self, boot: str, state: BootState) -> int:
        """Highest number sent or stored."""
        return max(self._sent.get(boot, 0), state.watermark)
