"""Thermometers of the register as values of the science."""

from collections.abc import Mapping
from typing import Any

from calibration.corrected_thermometer import CertifiedCorrection, CorrectedThermometer
from calibration.infrared.handheld import Handheld
from calibration.infrared.planck import PlanckBand
from calibration.infrared.spot import Optics


def thermometer_of(content: Mapping[str, Any]) -> CorrectedThermometer:
    """Thermometer with a display, of a register entry: witness, infrared, scan tool or gauge."""
    return CorrectedThermometer(
        resolution_k=float(content["resolution_k"]),
        accuracy_k=float(content["accuracy_k"]) if "accuracy_k" in content else None,
        accuracy_percent=float(content.get("accuracy_percent", 0.0)),
        points=tuple(
            CertifiedCorrection(
                shown_c=float(row["shown_c"]),
                correction_k=float(row["correction_k"]),
                expanded_u_k=float(row["expanded_u_k"]),
            )
            for row in content.get("point", ())
        ),
        k=float(content.get("k", 2.0)),
    )


def handheld_of(content: Mapping[str, Any]) -> Handheld:
    """Infrared thermometer of a register entry."""
    emissivity, points = content["emissivity"], content.get("point")
    certified = content.get("certified_emissivity") if points else None
    return Handheld(
        thermometer=thermometer_of(content),
        fixed_emissivity=None if emissivity == "settable" else float(emissivity),
        optics=Optics(
            distance_to_spot=float(content["distance_to_spot"]),
            smallest_spot_mm=float(content.get("smallest_spot_mm", 0.0)),
        ),
        band=PlanckBand(from_um=float(content["band_from_um"]), to_um=float(content["band_to_um"])),
        certified_emissivity=None if certified is None else float(certified),
    )
