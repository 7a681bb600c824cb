"""Serves the pages from a thread, on a port that is free."""

import contextlib
import errno
import socket
import threading
from typing import Any

from flask import Flask
from waitress import create_server
from waitress.channel import HTTPChannel
from waitress.server import BaseWSGIServer

from host.errors import DeskError
from host.web.app import MOST_STREAMS
from host.web.live_stream import streams_of
from host.web.reach import Reach

#: A live page holds a thread for a minute at a time; three threads for each keep the others quick.
THREADS = 3 * MOST_STREAMS
_CONNECTION_LIMIT = 400
#: What is larger is not even received; of less a page says in its own words that it is too large. [byte]
_LARGEST_REQUEST = 64_000_000
_STOP_WITHIN_S = 5


class PageServer:
    """The pages on a port.

    Waitress ends at once on SIGTERM, without a word to the desk: the command that runs this takes the
    signals itself and calls `stop`.

    Parameters
    ----------
    app : Flask
        Made by `host.web.app.create_app`.
    reach : Reach, optional
        Its address is listened on; by default this machine's own.
    port : int
        Port that is wanted; 0 takes any.

    Attributes
    ----------
    port : int
        Port that was taken; another than wanted where that one was not free.
    """

    def __init__(self, app: Flask, *, reach: Reach | None = None, port: int = 8000) -> None:
        self._app = app
        self._reach = reach or Reach()
        self.wanted_port = port
        self._socket = _listening(self._reach.listen, port)
        self.port: int = self._socket.getsockname()[1]
        self._map: dict[int, Any] = {}
        self._server: BaseWSGIServer = create_server(
            app,
            map=self._map,
            sockets=[self._socket],
            threads=THREADS,
            connection_limit=_CONNECTION_LIMIT,
            max_request_body_size=_LARGEST_REQUEST,
            ident=None,
            clear_untrusted_proxy_headers=True,
            **_proxy_options(self._reach),
        )
        self._thread = threading.Thread(target=self._server.run, name="pages", daemon=True)

    @property
    def url(self) -> str:
        """Address to open."""
        host = self._reach.listen
        if host in ("0.0.0.0", "::"):  # every address of this machine: people open it by its name
            host = min(self._reach.names, default=socket.gethostname())
        return f"http://{f'[{host}]' if ':' in host else host}:{self.port}/"

    @property
    def port_words(self) -> str | None:
        """What to say where the wanted port was not free; None where it was."""
        if self.wanted_port in (0, self.port):
            return None
        return f"Port {self.wanted_port} is taken by another program: the pages are on {self.port} instead."

    def start(self) -> int:
        """Begin to serve; the port."""
        self._thread.start()
        return self.port

    def stop(self) -> None:
        """Close every connection and end the threads."""
        streams_of(self._app).closing.set()
        # The workers first: they still speak to the loop while they end.
        self._server.task_dispatcher.shutdown(timeout=_STOP_WITHIN_S)
        if self._thread.is_alive():
            try:
                self._server.trigger.pull_trigger(self._end_loop)
            except OSError:  # its pipe is gone: the loop looks up by itself within a second
                self._end_loop()
            self._thread.join(_STOP_WITHIN_S)
        else:
            self._end_loop()
        with contextlib.suppress(OSError):
            self._server.trigger.close()

    def _end_loop(self) -> None:
        """Close every connection and leave the loop nothing to wait for.

        The trigger stays open: whoever pulled it may not have let go of it yet.
        """
        for connection in list(self._map.values()):
            if isinstance(connection, HTTPChannel):
                connection.handle_close()  # with the files that it was sending
            elif connection is not self._server.trigger:
                connection.close()
        self._map.clear()


def _proxy_options(reach: Reach) -> dict[str, Any]:
    """Whom to believe where a request comes from and whether it came over TLS."""
    if not reach.behind_proxy:
        return {}
    return {
        "trusted_proxy": "127.0.0.1",
        "trusted_proxy_count": 1,
        "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-proto"},
    }


def _listening(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        return socket.create_server((host, port), family=family)
    except OSError as error:
        if error.errno not in (errno.EADDRINUSE, errno.EACCES):
            raise DeskError(
                f"The pages cannot listen on {host}: {error.strerror}. Give an address of this machine with "
                "--listen; 127.0.0.1 always works."
            ) from error
    return socket.create_server((host, 0), family=family)
