"""A reading taken with the wrong emissivity inside the sensor, put right afterwards.

The rig's sensor keeps an emissivity in a cell and takes its own body for the surroundings. Whatever stood
in the cell, reading, body and cell together say what radiation came in; from that the temperature follows
for any other emissivity. Nothing is lost but digits.
"""

from calibration.infrared.emissivity import Shot, Surface, true_c
from calibration.infrared.errors import InfraredError
from calibration.infrared.radiation_law import FourthPower, RadiationLaw

#: Full scale of the emissivity cell of the rig's sensor (maker's data sheet).
FULL_CELL = 65535


def emissivity_from_cell(cell: int) -> float:
    """Emissivity that a cell stands for.

    Raises
    ------
    InfraredError
        If the cell holds what no setting leaves there.
    """
    if not 0 < cell <= FULL_CELL:
        raise InfraredError(
            f"The emissivity cell holds {cell}, which is no emissivity (1 to {FULL_CELL}). "
            "Read the cell again; if it stays so, write it anew."
        )
    return cell / FULL_CELL


def relinearised_c(
    shown_c: float,
    *,
    body_c: float,
    cell_emissivity: float,
    surface: Surface,
    law: RadiationLaw | None = None,
    surroundings_c: float | None = None,
) -> float:
    """Temperature of the surface behind a reading of a sensor with a cell. [°C]

    Parameters
    ----------
    shown_c : float
        As the sensor gave it. [°C]
    body_c : float
        Its own body, which it takes for the surroundings. [°C]
    cell_emissivity : float
        What stood in its cell.
    surface : Surface
        What it was pointed at.
    law : RadiationLaw, optional
        What the sensor linearises with: fourth powers unless stated (maker's data sheet, from memory).
    surroundings_c : float, optional
        What the surface mirrors; the sensor's body unless stated, which covers most of its view. [°C]

    Raises
    ------
    InfraredError
        If an emissivity is none, or the mirrored part alone exceeds what came in.
    """
    shot = Shot(
        set_emissivity=cell_emissivity,
        surroundings_c=body_c if surroundings_c is None else surroundings_c,
        believed_c=body_c,
    )
    return true_c(shown_c, surface=surface, shot=shot, law=FourthPower() if law is None else law)
