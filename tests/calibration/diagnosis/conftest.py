from collections.abc import Callable, Sequence

import pytest

from calibration.curves import ReferenceCurve, curve_names, load_curve
from calibration.diagnosis import MeasuredPoints, points_by_hand
from calibration.thermistor.fit_point import FitPoint


@pytest.fixture(scope="session")
def library() -> list[ReferenceCurve]:
    """Every curve that comes with the bench."""
    return [load_curve(name) for name in curve_names()]


@pytest.fixture(scope="session")
def hand() -> Callable[..., MeasuredPoints]:
    """Points read by hand, 0.6 K and 1 % unless told."""

    def points(
        rows: Sequence[tuple[float, float]], *, u_k: float = 0.6, u_percent: float = 1.0, common: float = 0.5
    ) -> MeasuredPoints:
        return points_by_hand(
            [
                FitPoint(
                    temperature_c=temperature_c,
                    resistance_ohm=resistance_ohm,
                    u_temperature_k=u_k,
                    u_resistance_ohm=u_percent / 100.0 * resistance_ohm,
                )
                for temperature_c, resistance_ohm in rows
            ],
            common_share=common,
        )

    return points
