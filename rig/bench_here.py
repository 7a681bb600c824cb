"""The bench of this machine: simulated, or on its pins."""

import logging
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from rig.bad_input import BadInputError
from rig.bench import Bench, real_bench, simulated_bench, simulated_start_utc_s
from rig.clock import RealClock, SimulatedClock
from rig.errors import RigError
from rig.wiring import load_wiring

log = logging.getLogger(__name__)

_GPIO_DEVICE = Path("/dev/gpiochip0")

_Made = TypeVar("_Made")


def simulated(
    *,
    seed: int,
    plant: tuple[str, float] | None,
    data: Path,
    speed: float | None,
    artefact_ohm: float | None = None,
) -> Bench:
    """Simulated bench whose bath lives on in the data folder.

    Raises
    ------
    BadInputError
        If it cannot be set up.
    """
    world_file = data / "world.json"
    if plant is not None and world_file.exists():
        log.info("the bath of %s is taken up with the sender that it has; --plant is for a new one", data)

    def make() -> Bench:
        clock = SimulatedClock(speed=speed, start_utc_s=simulated_start_utc_s(world_file, time.time()))
        return simulated_bench(
            wiring=load_wiring(),
            seed=seed,
            plant=plant,
            world_file=world_file,
            clock=clock,
            artefact_ohm=artefact_ohm,
        )

    return made(make)


def real() -> Bench:
    """Bench on metal. Untested on a Raspberry Pi.

    Raises
    ------
    BadInputError
        If there are no pins here, or it cannot be set up.
    """
    check_gpio()
    return made(lambda: real_bench(wiring=load_wiring(), clock=RealClock()))


def check_gpio() -> None:
    """Refuse a machine without pins."""
    if not _GPIO_DEVICE.exists():
        raise BadInputError(
            f"there is no GPIO here ({_GPIO_DEVICE} is missing): run this on the Raspberry Pi, "
            "or take `ohmbath-rig run --simulate`."
        )


def made(make: Callable[[], _Made]) -> _Made:
    """What was made, or in one line why it cannot be."""
    try:
        return make()
    except (RigError, OSError, ImportError) as error:
        raise BadInputError(f"the bench cannot be set up: {error}") from error


def log_to_stderr() -> None:
    """Send what is logged to the error stream, where the service's journal takes it up."""
    logging.basicConfig(stream=sys.stderr, level=logging.INFO, format="ohmbath-rig: %(message)s")
