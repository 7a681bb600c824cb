"""What the certificate of an artefact in the register says of it, as the reference of a round."""

from collections.abc import Mapping
from typing import Any

from calibration.comparison import ComparisonError
from calibration.station_round import StatedValue
from host.errors import DeskError
from host.procedures.rounds.finished_checks import MOST_APART_K
from host.procedures.rounds.station_round_settings import Quantity

#: A resistor is what it is called within this. [1]
_MOST_OFF_NOMINAL = 0.1


def artefact_value(
    content: Mapping[str, Any], quantity: Quantity, *, curve: str, at: float
) -> tuple[StatedValue, str]:
    """Certified value of an artefact, and where it was certified in words.

    Parameters
    ----------
    content : Mapping
        Register entry.
    quantity : Quantity
        What is compared.
    curve : str
        Curve of the round, for the error of a sender.
    at : float
        Temperature or nominal resistance of the round. [°C] or [Ω]

    Raises
    ------
    DeskError
        If it says nothing of that.
    """
    serial = content["serial"]
    if quantity is Quantity.RESISTANCE and "resistance_ohm" in content:
        value = float(content["resistance_ohm"])
        if abs(value / at - 1.0) > _MOST_OFF_NOMINAL:
            raise DeskError(f"{serial} has {value:g} Ω by its certificate, and the round is at {at:g} Ω.")
        return _stated(content, value, content["expanded_u_ohm"]), ""
    if quantity is Quantity.ERROR and "curve" in content:
        if content["curve"] != curve:
            raise DeskError(
                f"{serial} is certified by the curve {content['curve']}, and the round is by {curve}."
            )
        row = min(content["point"], key=lambda row: abs(float(row["temperature_c"]) - at))
        if abs(float(row["temperature_c"]) - at) > MOST_APART_K:
            raise DeskError(
                f"{serial} is certified at {row['temperature_c']:g} °C at the nearest, and the round is at "
                f"{at:g} °C."
            )
        where = f", error at {row['temperature_c']:g} °C"
        return _stated(content, float(row["error_k"]), row["expanded_u_k"]), where
    raise DeskError(
        f"The certificate of {serial} says nothing of the {quantity.words}: choose another reference."
    )


def _stated(content: Mapping[str, Any], value: float, expanded_u: object) -> StatedValue:
    try:
        return StatedValue(value=value, expanded_u=float(str(expanded_u)), k=float(content["k"]))
    except ComparisonError as error:
        raise DeskError(f"{content['serial']}: {error}") from error
