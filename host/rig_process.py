"""A simulated rig as a process of its own: the desk starts the rig's program and shares no code with it."""

import shutil
import subprocess
import sys
from pathlib import Path

from host.errors import DeskError

# Rig seconds in a wall second while the pages are served: quick enough to watch a bath move.
SERVING_SPEED = 8.0


class RigProcess:
    """A rig as a process of its own, over the same wire as in the shop."""

    def __init__(
        self, folder: Path, *, station: str, port: int, seed: int, artefact_ohm: float | None = None
    ) -> None:
        self.folder = folder
        self._artefact = [] if artefact_ohm is None else ["--artefact", f"{artefact_ohm:g}"]
        self.station = station
        self._port, self._seed = port, seed
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def pid(self) -> int | None:
        """Process number."""
        return None if self._process is None else self._process.pid

    def start(self, speed: str) -> None:
        """Start it; what it says goes to rig.log in its folder."""
        self.folder.mkdir(parents=True, exist_ok=True)
        command = [
            rig_command(), "run", "--simulate", "--station", self.station, "--seed", str(self._seed),
            "--broker", f"127.0.0.1:{self._port}", "--data", str(self.folder), "--speed", speed,
            *self._artefact,
            "--until-stdin-ends",  # so that it goes with whoever started it, however that ends
        ]  # fmt: skip
        with (self.folder / "rig.log").open("ab") as log:
            self._process = subprocess.Popen(
                command, stdin=subprocess.PIPE, stdout=log, stderr=log, start_new_session=True
            )

    def stop(self) -> None:
        """Ask it to end, and see that it does."""
        if self._process is None:
            return
        self._process.terminate()
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        if self._process.stdin is not None:
            self._process.stdin.close()
        self._process = None

    def has_died(self) -> bool:
        """Tell whether it ended by itself."""
        return self._process is not None and self._process.poll() is not None


def rig_command() -> str:
    """Path of the rig's program.

    Raises
    ------
    DeskError
        If it is not installed.
    """
    beside = Path(sys.executable).parent / "ohmbath-rig"
    found = str(beside) if beside.exists() else shutil.which("ohmbath-rig")
    if found is None:
        raise DeskError("The program ohmbath-rig is not installed beside this one. Run: make demo")
    return found
