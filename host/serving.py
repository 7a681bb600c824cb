"""Serving the pages of a desk until somebody ends it."""

import signal
import threading
from collections.abc import Callable
from types import FrameType

from host.desk import Desk
from host.errors import DeskError
from host.store import Store
from host.web.reach import Reach

#: Usual port of the pages.
USUAL_PORT = 8350


def interrupt_on_sigterm() -> None:
    """Take SIGTERM and a closed terminal as Ctrl-C, so that all leave everything as it can be taken up."""

    def as_interrupt(_number: int, _frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), as_interrupt)


def check_reach(store: Store, reach: Reach) -> None:
    """Refuse to be reached from other machines before anybody has an account.

    Raises
    ------
    DeskError
        In that case; says how to add one, and TLS.
    """
    if reach.is_this_machine_only or store.people.any():
        return
    raise DeskError(
        "Nobody has an account here, so the pages are served to this machine alone. Add the first person: "
        'ohmbath person add "NAME" --role authoriser --role technician. And let a proxy speak TLS before the '
        "pages (hardware/systemd/pages.md), or passwords go over the network in clear."
    )


def in_clear_words(reach: Reach) -> str | None:
    """What to say where passwords would go over the network in clear; None where they do not."""
    if reach.is_this_machine_only or reach.behind_proxy:
        return None
    return (
        "Passwords and pages go over the network in clear: whoever listens can sign in. "
        "Let a proxy on this machine speak TLS: hardware/systemd/pages.md."
    )


def serve_pages(
    desk: Desk,
    *,
    port: int,
    say: Callable[[str], None],
    reach: Reach | None = None,
    takes_all_for: str = "",
) -> None:
    """Serve until interrupted.

    Parameters
    ----------
    desk : Desk
        Started.
    port : int
        Port that is wanted; a taken one is said, and another picked.
    say : callable
        Gets the words for the person in front.
    reach : Reach, optional
        From where the pages can be reached; by default from this machine only.
    takes_all_for : str
        Name of the person for whom a demo takes everybody who has not signed in.

    Raises
    ------
    DeskError
        If they would be reached from elsewhere and nobody has an account.
    """
    reach = reach or Reach()
    check_reach(desk.store, reach)
    # The pages bring their own libraries; commands that show none do not wait for them.
    from host.web.app import create_app
    from host.web.server import PageServer

    server = PageServer(create_app(desk, reach=reach, takes_all_for=takes_all_for), reach=reach, port=port)
    server.start()
    if server.port_words is not None:
        say(server.port_words)
    clear = in_clear_words(reach)
    if clear is not None:
        say(clear)
    say(f"Pages: {server.url}   (Ctrl-C ends)")
    try:
        threading.Event().wait()
    finally:
        server.stop()
