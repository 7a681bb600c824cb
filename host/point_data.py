"""One judged temperature as JSON: the same keys wherever a command prints it."""

from typing import Any

from calibration.sender_point import SenderPoint
from host.certificates.certificate import CertifiedPoint


def point_data(point: SenderPoint | CertifiedPoint) -> dict[str, Any]:
    """Numbers of a point, by the names that scripts rely on."""
    return {
        "temperature_c": point.temperature_c,
        "resistance_ohm": point.resistance_ohm,
        "indicated_c": point.indicated_c,
        "error_k": point.error_k,
        "expanded_u_k": point.expanded_u_k,
        "k": point.k,
        "limit_k": point.limit_k,
        "verdict": point.verdict.value,
    }
