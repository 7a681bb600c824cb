"""Serves the pages from a thread, on a port that is free."""

import contextlib
import errno
import socket
import threading
from typing import Any

from flask import Flask
from waitress import create_server
from waitress.server import BaseWSGIServer

from host.errors import DeskError
from host.web.app import MOST_STREAMS
from host.web.live_stream import streams_of

#: A live page holds a thread for a minute at a time; three threads for each keep the others quick.
THREADS = 3 * MOST_STREAMS
_CONNECTION_LIMIT = 400
_STOP_WITHIN_S = 5


class PageServer:
    """The pages on a port.

    Waitress ends at once on SIGTERM, without a word to the desk: the command that runs this takes the
    signals itself and calls `stop`.

    Parameters
    ----------
    app : Flask
        Made by `host.web.app.create_app`.
    host : str
        Address to listen on; loopback unless asked otherwise.
    port : int
        Port that is wanted; 0 takes any.

    Attributes
    ----------
    port : int
        Port that was taken; another than wanted where that one was not free.
    """

    def __init__(self, app: Flask, *, host: str = "127.0.0.1", port: int = 8000) -> None:
        self._app = app
        self.host = host
        self.wanted_port = port
        self._socket = _listening(host, port)
        self.port: int = self._socket.getsockname()[1]
        self._map: dict[int, Any] = {}
        self._server: BaseWSGIServer = create_server(
            app,
            map=self._map,
            sockets=[self._socket],
            threads=THREADS,
            connection_limit=_CONNECTION_LIMIT,
            ident=None,
            clear_untrusted_proxy_headers=True,
        )
        self._thread = threading.Thread(target=self._server.run, name="pages", daemon=True)

    @property
    def url(self) -> str:
        """Address to open."""
        return f"http://{self.host}:{self.port}/"

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
            if connection is not self._server.trigger:
                connection.close()
        self._map.clear()


def _listening(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        return socket.create_server((host, port), family=family)
    except OSError as error:
        if error.errno not in (errno.EADDRINUSE, errno.EACCES):
            raise DeskError(
                f"The pages cannot listen on {host}: {error.strerror}. Give an address of this machine with "
                "--host; 127.0.0.1 always works."
            ) from error
    return socket.create_server((host, 0), family=family)
