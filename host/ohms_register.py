"""From the certificate of a decade box or a meter to its entry in the register."""

import math
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from calibration.resistance.covering_uncertainty import StepUncertainty, covering_uncertainty
from calibration.uncertainty.budget import BudgetLine
from host.certificates.bodies.ohms import CertifiedOhms
from host.errors import DeskError
from host.procedures.ohms.meter_check import MeterCheckSettings, Subject, compared_at, points_of, zero_of
from host.shop import Shop
from host.store.register_file import RegisterEntry, register_entry

_K = 2.0
_PLACES = 6
_DIGITS = frozenset("123456789")


def ohms_entry(
    settings: MeterCheckSettings, *, number: str, issued: date, shop: Shop, kept_at: Mapping[str, str]
) -> RegisterEntry:
    """What was calibrated, as its certificate now describes it; `kept_at` as the register says.

    Raises
    ------
    DeskError
        If a box was not read at zero, or at no step of its dials.
    """
    common: dict[str, Any] = {
        "kind": settings.subject.value,
        "serial": settings.serial,
        "certificate": number,
        "issuer": shop.name,
        "issued": issued,
        "simulated": settings.simulated,
        "k": _K,
        **kept_at,
    }
    points = points_of(settings)
    if settings.subject is Subject.METER:
        return register_entry({**common, "point": [_correction(point) for point in points]})
    return register_entry({**common, **_box(settings, points)})


def _correction(point: CertifiedOhms) -> dict[str, float]:
    return {
        "shown_ohm": round(point.shown_ohm, _PLACES),
        "correction_ohm": round(-point.error_ohm, _PLACES),
        "expanded_u_ohm": round(_at_one_k(point), _PLACES),
    }


def _box(settings: MeterCheckSettings, points: tuple[CertifiedOhms, ...]) -> dict[str, Any]:
    zero = zero_of(settings)
    if zero is None:
        raise DeskError(
            "The box was not read with every dial at zero, so its steps are not known: type that line too, "
            "“0 0.35”, in a new check."
        )
    steps = [point for point in points if str(round(point.setting_ohm)).strip("0") in _DIGITS]
    if not steps:
        raise DeskError("No dial was read by itself, so no step of the box is known. Make a new check.")
    # No resistance is below zero: what was read there is then error alone, and U is made larger by it.
    residual_ohm = max(zero.true_ohm, 0.0)
    relative, fixed_ohm = covering_uncertainty(
        {round(point.setting_ohm): _split(settings, point.setting_ohm) for point in steps},
        _split(settings, 0.0),
        leads_u_ohm=_u_of(compared_at(settings, 0.0).leads_lines),
        zero_left_out_ohm=min(zero.true_ohm, 0.0),
        k=_K,
    )
    return {
        "residual_ohm": round(residual_ohm, _PLACES),
        "expanded_u_relative": round(relative, 8),
        "expanded_u_ohm": round(fixed_ohm, _PLACES),
        "step": [
            {
                "nominal_ohm": round(point.setting_ohm),
                "certified_ohm": round(point.true_ohm - zero.true_ohm, _PLACES),
            }
            for point in steps
        ],
    }


def _split(settings: MeterCheckSettings, setting_ohm: float) -> StepUncertainty:
    compared = compared_at(settings, setting_ohm)
    return StepUncertainty(
        reference_ohm=_u_of(compared.reference_lines), reading_ohm=_u_of(compared.reading_lines)
    )


def _u_of(lines: Sequence[BudgetLine]) -> float:
    """Standard uncertainty of some lines of a budget together. [Ω]"""
    return math.hypot(*(line.contribution for line in lines))


def _at_one_k(point: CertifiedOhms) -> float:
    """Standard uncertainty once more: U / k, times the one k of the entry. [Ω]"""
    return _K * point.expanded_u_ohm / point.k
