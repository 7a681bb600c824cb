"""The embedded broker: a child process for the demo and a single bench.

It speaks on loopback alone and lets anybody in who is there. Any MQTT 3.1.1 broker takes
its place in a workshop with more than one machine. What it holds, retained messages
included, is in memory only: after a restart the desk and each rig say theirs again.
"""

import argparse
import asyncio
import logging
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

from host.errors import DeskError

LOOPBACK = "127.0.0.1"
USUAL_PORT = 1883
_READY, _TAKEN = "ready", "taken"
_START_TIMEOUT_S = 30.0
_TAKEN_PATIENCE_S = 2.0
_RESTART_PAUSE_S = 0.2


class BrokerStartError(DeskError):
    """The embedded broker does not come up."""


class EmbeddedBroker:
    """The broker's process, and a thread that starts it anew when it dies.

    Parameters
    ----------
    port : int
        Port that is wanted; where it is taken, a free one is chosen and said.
    folder : Path, optional
        Where its log goes; without one it logs nothing.
    say : Callable[[str], None]
        Gets the words that a person should see.
    """

    def __init__(
        self,
        port: int = USUAL_PORT,
        *,
        folder: Path | None = None,
        say: Callable[[str], None] = lambda words: None,
    ) -> None:
        self.port = port
        self.restarts = 0
        self._log = None if folder is None else folder / "broker.log"
        self._say = say
        self._stopping = threading.Event()
        self._process: subprocess.Popen[str] | None = None
        self._supervisor: threading.Thread | None = None

    @property
    def pid(self) -> int | None:
        """Process number of the broker."""
        return None if self._process is None else self._process.pid

    def start(self) -> None:
        """Start the broker; it takes connections when this returns.

        Raises
        ------
        BrokerStartError
            If it does not come up.
        """
        wanted = self.port
        self._stopping.clear()
        # After a killed desk its broker needs a moment to notice and to free the port.
        patience_until_s = time.monotonic() + _TAKEN_PATIENCE_S
        while not self._launch():
            if self.port == wanted and time.monotonic() < patience_until_s:
                self._stopping.wait(_RESTART_PAUSE_S)
                continue
            self.port = free_port()
        if self.port != wanted:
            self._say(f"Port {wanted} is taken by another program: the broker uses {self.port} instead.")
        self._supervisor = threading.Thread(target=self._supervise, name="broker-supervisor", daemon=True)
        self._supervisor.start()

    def stop(self) -> None:
        """Stop the broker and its supervisor."""
        self._stopping.set()
        if self._process is not None:
            _end(self._process)
        if self._supervisor is not None:
            self._supervisor.join()
            self._supervisor = None
        if self._process is not None:
            _end(self._process)
            self._process = None

    def _launch(self) -> bool:
        """Start the process; False where the port is taken."""
        command = [sys.executable, "-W", "ignore", "-m", "host.broker", "--port", str(self.port)]
        command.append("--until-stdin-ends")  # so that it goes with the desk, however that ends
        if self._log is not None:
            command += ["--log", str(self._log)]
        process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            start_new_session=True,  # Ctrl-C is for the desk, which stops its broker last
        )
        word = _first_line(process)
        if word == _READY:
            self._process = process
            return True
        _end(process)
        if word == _TAKEN:
            return False
        raise BrokerStartError(
            f"The embedded broker did not come up on port {self.port} within {_START_TIMEOUT_S:g} s"
            + (f": see {self._log}." if self._log else ".")
        )

    def _supervise(self) -> None:
        while not self._stopping.is_set():
            assert self._process is not None
            self._process.wait()
            if self._stopping.is_set():
                return
            self._say("The broker died and is started again.")
            self._relaunch()

    def _relaunch(self) -> None:
        assert self._process is not None
        _close_pipes(self._process)
        while not self._stopping.is_set():
            try:
                if self._launch():
                    self.restarts += 1
                    return
            except BrokerStartError as error:
                self._say(str(error))
            self._stopping.wait(_RESTART_PAUSE_S)


def free_port() -> int:
    """Return a loopback port that was free a moment ago."""
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        return int(probe.getsockname()[1])


def _first_line(process: "subprocess.Popen[str]") -> str:
    """First word of the child, empty where it ends or stays silent too long."""
    assert process.stdout is not None
    patience = threading.Timer(_START_TIMEOUT_S, process.kill)
    patience.start()
    try:
        return process.stdout.readline().strip()
    finally:
        patience.cancel()


def _end(process: "subprocess.Popen[str]") -> None:
    if process.poll() is None:
        process.terminate()
        try:
            process.wait(timeout=5)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
    _close_pipes(process)


def _close_pipes(process: "subprocess.Popen[str]") -> None:
    for pipe in (process.stdin, process.stdout):
        if pipe is not None:
            pipe.close()


async def _serve(port: int, stop: asyncio.Event) -> None:
    from amqtt.broker import Broker
    from amqtt.errors import BrokerError

    plugins = {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}}
    listeners = {"default": {"type": "tcp", "bind": f"{LOOPBACK}:{port}"}}
    broker = Broker({"listeners": listeners, "plugins": plugins})
    try:
        await broker.start()
    except BrokerError as error:
        if isinstance(error.__cause__, OSError):
            _tell(_TAKEN)
            return
        raise
    _tell(_READY)
    await stop.wait()
    # It has nothing to save, and an orderly end can take it five seconds in which the port is held.
    os._exit(0)


def _tell(word: str) -> None:
    sys.stdout.write(f"{word}\n")
    sys.stdout.flush()


async def _serve_until_told(port: int, until_stdin_ends: bool) -> None:
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    if until_stdin_ends:
        protocol = asyncio.StreamReader()
        await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(protocol), sys.stdin)
        watch = asyncio.ensure_future(protocol.read())
        watch.add_done_callback(lambda _: stop.set())
    await _serve(port, stop)


def _main() -> None:
    parser = argparse.ArgumentParser(prog="python -m host.broker", description="The embedded broker alone.")
    parser.add_argument("--port", type=int, default=USUAL_PORT)
    parser.add_argument("--log", type=Path)
    parser.add_argument("--until-stdin-ends", action="store_true")
    options = parser.parse_args()
    if options.log is None:
        logging.disable(logging.CRITICAL)
    else:
        logging.basicConfig(filename=options.log, level=logging.ERROR, format="%(asctime)s %(message)s")
    asyncio.run(_serve_until_told(options.port, options.until_stdin_ends))


if __name__ == "__main__":
    _main()
