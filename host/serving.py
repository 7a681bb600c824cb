"""Serving the pages of a desk until somebody ends it."""

import signal
import threading
from collections.abc import Callable
from types import FrameType

from host.desk import Desk

#: Usual port of the pages.
USUAL_PORT = 8350


def interrupt_on_sigterm() -> None:
    """Take SIGTERM and a closed terminal as Ctrl-C, so that all leave everything as it can be taken up."""

    def as_interrupt(_number: int, _frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), as_interrupt)


def serve_pages(desk: Desk, *, port: int, say: Callable[[str], None]) -> None:
    """Serve until interrupted.

    Parameters
    ----------
    desk : Desk
        Started.
    port : int
        Port that is wanted; a taken one is said, and another picked.
    say : callable
        Gets the words for the person in front.
    """
    # The pages bring their own libraries; commands that show none do not wait for them.
    from host.web.app import create_app
    from host.web.server import PageServer

    server = PageServer(create_app(desk), port=port)
    server.start()
    if server.port_words is not None:
        say(server.port_words)
    say(f"Pages: {server.url}   (Ctrl-C ends)")
    try:
        threading.Event().wait()
    finally:
        server.stop()
