"""Something happened at the rig: the threads that wait for it look again."""

import threading
from collections.abc import Callable


class Bell:
    """Wakes every thread that waits on it, so that none has to look twice for nothing."""

    def __init__(self) -> None:
        self._condition = threading.Condition()

    def ring(self) -> None:
        """Say that something changed."""
        with self._condition:
            self._condition.notify_all()

    def wait_for(self, predicate: Callable[[], bool], timeout_s: float | None = None) -> bool:
        """Wait until ``predicate`` holds, or ``timeout_s`` of wall time is over.

        Whoever makes it true rings afterwards; it must be quick and must not ring.

        Returns
        -------
        bool
            What ``predicate`` said last.
        """
        with self._condition:
            return self._condition.wait_for(predicate, timeout_s)
