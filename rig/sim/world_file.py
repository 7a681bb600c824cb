"""Where a simulated world is put away, so that a killed rig wakes in the same bath."""

import json
import os
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from rig.errors import SavedWorldError
from rig.sim.bath import BathParameters, BathState
from rig.sim.bodies import BodyParameters, BodyState, SenderParameters
from rig.sim.world import WorldState

FORMAT = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class SavedWorld:
    """A world with the times at which it was put away.

    Attributes
    ----------
    wall_utc_s : float
        Wall time; what passes until it is taken up again is time away. [s]
    simulated_utc_s : float or None
        UTC that the simulated clock showed; it must never go back behind it. [s]
    """

    state: WorldState
    wall_utc_s: float
    simulated_utc_s: float | None


_PARTS: dict[str, Callable[..., Any]] = {
    "bath_parameters": BathParameters,
    "body_parameters": BodyParameters,
    "bath": BathState,
    "bodies": BodyState,
    "sender": SenderParameters,
}


def write_world(path: Path, saved: SavedWorld) -> None:
    """Replace the file in one step: after a kill it holds the old world or the new one, whole.

    There is no fsync: a simulated bath need not survive a power cut.
    """
    document = {
        "format": FORMAT,
        "wall_utc_s": saved.wall_utc_s,
        "simulated_utc_s": saved.simulated_utc_s,
        "world": asdict(saved.state),
    }
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f"{path.name}.{os.getpid()}.new")
    beside.write_text(json.dumps(document, allow_nan=False), encoding="utf-8")
    beside.replace(path)


def read_world(path: Path) -> SavedWorld | None:
    """World of a file, or None where there is none.

    Raises
    ------
    SavedWorldError
        If the file is there but cannot be taken up.
    """
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as error:
        raise _cannot(path, str(error)) from error
    try:
        if document["format"] != FORMAT:
            raise _cannot(path, f"format {document['format']} is not {FORMAT}")
        world = dict(document["world"])
        for name, kind in _PARTS.items():
            world[name] = kind(**world[name])
        for name in ("plant", "bench_plant"):
            if world.get(name) is not None:
                world[name] = tuple(world[name])
        return SavedWorld(
            state=WorldState(**world),
            wall_utc_s=float(document["wall_utc_s"]),
            simulated_utc_s=document["simulated_utc_s"],
        )
    except (KeyError, TypeError, ValueError) as error:
        raise _cannot(path, str(error)) from error


def _cannot(path: Path, why: str) -> SavedWorldError:
    return SavedWorldError(
        f"The simulated bench in {path} cannot be taken up again: {why}. Take a fresh data folder."
    )
