"""A fault to plant, as it is typed."""

import click

from rig.bad_input import BadInputError
from rig.errors import RigError


def planted(
    _context: click.Context, _parameter: click.Parameter, text: str | None
) -> tuple[str, float] | None:
    """Name and size of the fault that an option names; click's callback.

    Raises
    ------
    BadInputError
        If no such fault can be planted.
    """
    if text is None:
        return None
    from rig.sim.plants import parse_plant

    try:
        return parse_plant(text)
    except RigError as error:
        raise BadInputError(str(error)) from error
