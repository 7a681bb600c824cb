"""What the service manager hears: that the rig is up, alive, or stopping (sd_notify(3), a datagram each)."""

import logging
import os
import socket
from collections.abc import Mapping

log = logging.getLogger(__name__)

# A sampler without a sign of life for so long hangs: a pass takes 0.25 s, the longest wait on purpose 1 s.
HANGS_AFTER_S = 8.0


class Watchdog:
    """The service manager's socket; does nothing where there is none.

    Parameters
    ----------
    environment : Mapping[str, str]
        ``NOTIFY_SOCKET`` and ``WATCHDOG_USEC``, as the service manager sets them.
    """

    def __init__(self, environment: Mapping[str, str] = os.environ) -> None:
        self._address = environment.get("NOTIFY_SOCKET", "")
        if self._address.startswith("@"):  # an abstract socket
            self._address = "\0" + self._address[1:]
        within_us = environment.get("WATCHDOG_USEC", "")
        self.within_s = int(within_us) / 1e6 if within_us.isdecimal() and int(within_us) > 0 else None

    def ready(self, words: str) -> None:
        """Say that the rig samples."""
        self._say(f"READY=1\nSTATUS={words}")

    def alive(self) -> None:
        """Say that it still does; left out for too long, the service manager starts it anew."""
        self._say("WATCHDOG=1")

    def stopping(self) -> None:
        """Say that it ends on purpose."""
        self._say("STOPPING=1")

    def _say(self, words: str) -> None:
        if not self._address:
            return
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as sock:
                sock.sendto(words.encode("utf-8"), self._address)
        except OSError as error:
            log.warning("the service manager could not be told (%s)", error)
