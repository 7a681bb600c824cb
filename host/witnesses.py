"""Witnesses of a temperature, and how surely each speaks: by its own corrections, or as bought."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Self

from calibration.corrected_thermometer import Basis, CorrectedThermometer, ThermometerError
from calibration.uncertainty.line import rectangular_u
from host.certificates.certificate import Witness
from host.certificates.printed import signed_text
from host.registered_thermometer import thermometer_of
from host.rig_sensor import SAME_EMISSIVITY

PROBE = "contact probe"
ONE_WIRE = "1-wire witness"
INFRARED = "infrared"
SENDER = "sender shows"

#: How much longer than the probe the 1-wire witness takes, at most. Assumed. [s]
WITNESS_LAG_S = 20.0
_K = 2.0
# DS18B20 as bought: ±0.5 °C from -10 to 85 °C (data sheet, first page), ±1 °C to 100 °C (from memory).
_ONE_WIRE_LIMIT_K, _ONE_WIRE_HOT_LIMIT_K, _ONE_WIRE_HOT_C = 0.5, 1.0, 85.0
# MLX90614 as bought: ±0.5 °C where sensor and target are at 0 to 50 °C (data sheet, revision 13 of 2019,
# first page), wider elsewhere (from memory: ±1 to ±4 °C); the surface of the water and its steam come on top,
# and what all that comes to here is assumed.
_INFRARED_LIMIT_K, _INFRARED_WARM_LIMIT_K, _INFRARED_WARM_C = 0.8, 1.4, 50.0
# What the water does beside a corrected sensor, half-width: an emissivity within 0.01 of the cell's is 0.6 K
# at 90 °C, its skin in the open air and its steam the rest. Assumed.
_WATER_HALF_WIDTH_K, _WARM_WATER_HALF_WIDTH_K = 0.3, 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CertifiedWitness:
    """A witness that a station keeps, with its own corrections.

    Attributes
    ----------
    serial, certificate : str
    thermometer : CorrectedThermometer
    simulated : bool
        Whether it exists in simulation only.
    set_emissivity : float or None
        What the cell of an infrared sensor held when it was certified; None of others.
    """

    serial: str
    certificate: str
    thermometer: CorrectedThermometer
    simulated: bool = False
    set_emissivity: float | None = None

    @classmethod
    def of(cls, content: Mapping[str, Any]) -> Self | None:
        """The one of a register entry, None where that has no corrections."""
        if not content.get("point"):
            return None
        return cls(
            serial=str(content["serial"]),
            certificate=str(content["certificate"]),
            thermometer=thermometer_of(content),
            simulated=bool(content.get("simulated", False)),
            set_emissivity=content.get("certified_emissivity"),
        )

    def holds_at(self, emissivity: float | None) -> bool:
        """Whether its corrections hold for what the cell of the sensor holds; not where nobody says that."""
        if emissivity is None or self.set_emissivity is None:
            return False
        return abs(emissivity - self.set_emissivity) < SAME_EMISSIVITY


@dataclass(frozen=True, slots=True, kw_only=True)
class WitnessSaid:
    """What a witness says.

    Attributes
    ----------
    witness : Witness
        Corrected, where that could be done; U with k = 2.
    words : str
        By what it was corrected; empty as bought.
    """

    witness: Witness
    words: str = ""


def one_wire_witness(
    shown_c: float, own: CertifiedWitness | None = None, *, lag_half_width_k: float = 0.0
) -> WitnessSaid:
    """The 1-wire witness by its own corrections; by the limit it was bought with, where it has none there.

    Parameters
    ----------
    shown_c : float
        [°C]
    own : CertifiedWitness, optional
    lag_half_width_k : float
        How far it may stay behind the bath. [K]
    """
    corrected = _corrected(ONE_WIRE, shown_c, own, lag_half_width_k)
    if corrected is not None:
        return corrected
    limit_k = _ONE_WIRE_HOT_LIMIT_K if shown_c > _ONE_WIRE_HOT_C else _ONE_WIRE_LIMIT_K
    return WitnessSaid(witness=Witness(name=ONE_WIRE, temperature_c=shown_c, expanded_u_k=limit_k))


def infrared_witness(
    shown_c: float, own: CertifiedWitness | None = None, *, cell_emissivity: float | None = None
) -> WitnessSaid:
    """The infrared sensor over the open water, corrected where its cell holds what it was certified with.

    Parameters
    ----------
    shown_c : float
        [°C]
    own : CertifiedWitness, optional
    cell_emissivity : float, optional
        What its cell holds, as its readings say. [1]
    """
    is_warm = shown_c > _INFRARED_WARM_C
    holds = own is not None and own.holds_at(cell_emissivity)
    water_k = _WARM_WATER_HALF_WIDTH_K if is_warm else _WATER_HALF_WIDTH_K
    corrected = _corrected(INFRARED, shown_c, own, water_k) if holds else None
    if corrected is not None:
        return corrected
    limit_k = _INFRARED_WARM_LIMIT_K if is_warm else _INFRARED_LIMIT_K
    return WitnessSaid(
        witness=Witness(name=INFRARED, temperature_c=shown_c, expanded_u_k=limit_k),
        words="" if own is None or holds else _other_cell(own, cell_emissivity),
    )


def _other_cell(own: CertifiedWitness, emissivity: float | None) -> str:
    held = "nobody knows what" if emissivity is None else f"{emissivity:g}"
    return f"as bought: its corrections hold for {own.set_emissivity:g} in its cell, which holds {held}"


def _corrected(
    name: str, shown_c: float, own: CertifiedWitness | None, besides_half_width_k: float
) -> WitnessSaid | None:
    """Corrected by its certificate, None where that says nothing there."""
    if own is None:
        return None
    try:
        correction = own.thermometer.correction_at(shown_c)
    except ThermometerError:
        return None
    if correction.basis is Basis.MAKER:
        return None
    u_k = math.hypot(correction.standard_u_k, rectangular_u(besides_half_width_k))
    size = signed_text(correction.correction_k, 2)
    by = ", ".join(text for text in (own.serial, own.certificate, correction.words) if text)
    return WitnessSaid(
        witness=Witness(name=name, temperature_c=shown_c + correction.correction_k, expanded_u_k=_K * u_k),
        words=f"corrected by {size} K ({by})",
    )
