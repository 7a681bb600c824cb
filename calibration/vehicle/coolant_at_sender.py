"""How hot the coolant at the sender is, from the head beside it.

The metal beside the sensor is the fair comparison, and a little colder than the coolant behind it: common
practice with no single source, its width assumed.
"""

import math
from dataclasses import dataclass

from calibration.uncertainty.budget import rectangular_u
from calibration.vehicle.in_place import HEAD_COLDER_K, InPlaceError, InPlaceReading, Where

#: Coverage factor of the readings that come in.
_K = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CoolantTemperature:
    """The coolant at the sender.

    Attributes
    ----------
    temperature_c : float
        [°C]
    standard_u_k : float
        [K]
    """

    temperature_c: float
    standard_u_k: float


def coolant_behind(head: InPlaceReading) -> CoolantTemperature:
    """Temperature of the coolant behind the head, which is 0 to `HEAD_COLDER_K` warmer than its metal.

    The middle of that span is the estimate, and the span a rectangle (JCGM 100, 4.3.7).

    Raises
    ------
    InPlaceError
        If the reading is of another place.
    """
    if head.where is not Where.HEAD:
        raise InPlaceError(f"The {head.where} does not say how hot the coolant is: shoot the head beside it.")
    half_width_k = HEAD_COLDER_K / 2.0
    return CoolantTemperature(
        temperature_c=head.temperature_c + half_width_k,
        standard_u_k=math.hypot(head.expanded_u_k / _K, rectangular_u(half_width_k)),
    )
