"""Which class holds the results of a kind."""

from typing import Any

from host.certificates.bodies.in_place import InPlaceBody
from host.certificates.bodies.infrared import InfraredBody
from host.certificates.bodies.ohms import OhmsBody
from host.certificates.bodies.reference_probe import ReferenceProbeBody
from host.certificates.bodies.sender import SenderBody
from host.certificates.bodies.station_round import StationRoundBody
from host.certificates.kind import Kind

BODIES: dict[Kind, type[Any]] = {
    Kind.SENDER: SenderBody,
    Kind.HANDHELD_INFRARED: InfraredBody,
    Kind.RIG_INFRARED: InfraredBody,
    Kind.REFERENCE_PROBE: ReferenceProbeBody,
    Kind.OHMS_CHANNEL: OhmsBody,
    Kind.DECADE_BOX: OhmsBody,
    Kind.RESISTANCE_METER: OhmsBody,
    Kind.STATION_ROUND: StationRoundBody,
    Kind.IN_PLACE: InPlaceBody,
}
