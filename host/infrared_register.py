"""Corrections of a finished infrared check as a new entry of the register."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from host.certificates.bodies.infrared import InfraredBody
from host.certificates.canonical import certificate_from_canonical
from host.errors import DeskError
from host.procedures.infrared.infrared_settings import InfraredSettings
from host.shop import Shop
from host.store.certificates import IssuedCertificate
from host.store.instrument_kind import InstrumentKind
from host.store.register_file import RegisterEntry, register_entry

#: U of each set point stands as printed, with its own k in it; the entry has one for all.
_K = 2.0
_OF_THE_THERMOMETER = (
    "kind",
    "serial",
    "resolution_k",
    "accuracy_k",
    "accuracy_percent",
    "emissivity",
    "distance_to_spot",
    "smallest_spot_mm",
    "band_from_um",
    "band_to_um",
)


def corrections_entry(
    settings: InfraredSettings, issued: IssuedCertificate, *, shop: Shop, kept_at: Mapping[str, str]
) -> RegisterEntry:
    """The thermometer of a check as its certificate now describes it.

    Parameters
    ----------
    settings : InfraredSettings
    issued : IssuedCertificate
    shop : Shop
        Who issued it.
    kept_at : Mapping[str, str]
        As the register says where it is kept.

    Raises
    ------
    DeskError
        If two set points were shown alike: there is no order between them.
    """
    certificate = certificate_from_canonical(issued.files.canonical_json)
    if not isinstance(certificate.body, InfraredBody):
        raise DeskError(f"Certificate {certificate.number} is of no infrared thermometer.")
    points = sorted(certificate.body.points, key=lambda point: point.shown_c)
    fields = _sensor(settings) if settings.is_rig_sensor else _thermometer(settings)
    return register_entry(
        {
            **fields,
            **kept_at,
            "certificate": certificate.number,
            "issuer": shop.name,
            "issued": _day(certificate.issued),
            "k": _K,
            "certified_emissivity": settings.set_emissivity,
            "simulated": settings.simulated,
            "adjusted": settings.as_left_of is not None,
            "point": [
                {
                    "shown_c": round(point.shown_c, 3),
                    "correction_k": round(-point.error_k, 3),
                    # A standard uncertainty once more: U / k, times the one k of the entry.
                    "expanded_u_k": round(_K * point.expanded_u_k / point.k, 3),
                }
                for point in points
            ],
        }
    )


def whose(settings: InfraredSettings) -> tuple[InstrumentKind, str]:
    """Kind and serial by which the register knows the thermometer of a check."""
    if settings.is_rig_sensor:
        return InstrumentKind.RIG_INFRARED, settings.station
    return InstrumentKind.INFRARED, str(settings.instrument["serial"])


def _thermometer(settings: InfraredSettings) -> dict[str, Any]:
    return {name: settings.instrument[name] for name in _OF_THE_THERMOMETER if name in settings.instrument}


def _sensor(settings: InfraredSettings) -> dict[str, Any]:
    """A sensor has no serial that anybody reads: it is known by its station."""
    kind, serial = whose(settings)
    return {
        "kind": kind.value,
        "serial": serial,
        "station": settings.station,
        "resolution_k": settings.resolution_k,
    }


def _day(issued: str) -> date:
    return date.fromisoformat(issued[:10])
