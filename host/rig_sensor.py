"""The infrared sensor of a rig as it stands: what it shows, what its cell holds, how warm its own body is."""

import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.contract.readings import ReadingPack
from host.contact_reference import slope_k_per_min
from host.errors import DeskError

#: The sensor takes its own body for the surroundings: it must drift less than this. Assumed. [K/min]
MOST_BODY_DRIFT_K_PER_MIN = 0.1
#: Its body is looked at over this time, and over the shorter one at least. A choice of ours. [s]
BODY_WINDOW_S, LEAST_BODY_WINDOW_S = 60.0, 20.0
#: How well it knows its own body at 0 to 50 °C, half-width (data sheet of the MLX90614, revision 13 of 2019,
#: first page). [K]
BODY_HALF_WIDTH_K = 0.5
#: A reading of now is one of the last two seconds. [passes]
_NEWEST = 8
#: A cell that differs by less holds the same, to the third place. A choice of ours. [1]
SAME_EMISSIVITY = 5e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class RigSensorReading:
    """One reading of the sensor.

    Attributes
    ----------
    shown_c : float
        What it says of its target. [°C]
    body_c : float
        Mean of its body over the last minute: what it takes for the surroundings. [°C]
    """

    shown_c: float
    body_c: float


def cell_emissivity(packs: Sequence[ReadingPack], station: str) -> float:
    """What the sensor's emissivity cell holds, as the newest readings of its station say. [1]

    Raises
    ------
    DeskError
        If they do not say it.
    """
    for pack in reversed(packs[-_NEWEST:]):
        if pack.infrared_emissivity is not None:
            return pack.infrared_emissivity
    raise DeskError(
        f"{station} does not say what the emissivity cell of its infrared sensor holds, and nothing is "
        "assumed of it. Look at the sensor's plug; a rig of an older version is updated first."
    )


def read_rig_sensor(packs: Sequence[ReadingPack], *, station: str, set_emissivity: float) -> RigSensorReading:
    """What the sensor says now, where its cell is as it was and its body stands still.

    Parameters
    ----------
    packs : sequence of ReadingPack
        Newest readings of the station, oldest first.
    station : str
    set_emissivity : float
        What its cell held when the check began. [1]

    Raises
    ------
    DeskError
        If it gave no good reading, its cell was written meanwhile, or its body drifts.
    """
    cell = cell_emissivity(packs, station)
    if abs(cell - set_emissivity) > SAME_EMISSIVITY:
        raise DeskError(
            f"The emissivity cell of the sensor holds {cell:g} now and held {set_emissivity:g} when this "
            "check began: stop this check, and start another."
        )
    return RigSensorReading(shown_c=_shown_c(packs), body_c=_steady_body_c(packs))


def _shown_c(packs: Sequence[ReadingPack]) -> float:
    for pack in reversed(packs[-_NEWEST:]):
        shown_c = pack.good_value("infrared")
        if shown_c is not None:
            return shown_c
    raise DeskError("The infrared sensor gave no good reading in the last two seconds: look at its plug.")


def _steady_body_c(packs: Sequence[ReadingPack]) -> float:
    newest = packs[-1]
    read = [
        (pack.rig_time_s, body_c)
        for pack in packs
        if pack.boot == newest.boot and pack.rig_time_s > newest.rig_time_s - BODY_WINDOW_S
        if (body_c := pack.good_value("ambient")) is not None
    ]
    if not read or read[-1][0] - read[0][0] < LEAST_BODY_WINDOW_S:
        raise DeskError(
            f"The sensor's own body must be read for {LEAST_BODY_WINDOW_S:g} s before a shot: wait, then "
            "take it again."
        )
    drift = slope_k_per_min(read)
    if abs(drift) > MOST_BODY_DRIFT_K_PER_MIN:
        raise DeskError(
            f"The sensor's own body drifts by {drift:+.2f} K/min, and it takes its body for the "
            f"surroundings; a shot needs less than {MOST_BODY_DRIFT_K_PER_MIN:g}. Keep it out of draught, "
            "steam and sun, wait, then take it again."
        )
    return statistics.fmean(body_c for _, body_c in read)
