"""What a resistance channel is off by before its correction, at any resistance inside what was checked."""

from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.resistance.ohms_check import OhmsCheckError, RangeCorrection
from calibration.resistance.three_tap import ratio_count, resistance_from_ratio_count
from calibration.uncertainty.budget import Budget, combine
from calibration.uncertainty.line import normal, student

# The correction is at most some 6 in 1000 of the count and as flat, so each round gains two digits.
_ROUNDS = 12


def error_as_found(correction: RangeCorrection, box: DecadeBoxCertificate, resistance_ohm: float) -> Budget:
    """Error of a range as found, shown minus true, by all settings of its ohms check together.

    Parameters
    ----------
    correction : RangeCorrection
        Of the check.
    box : DecadeBoxCertificate
        That stood behind it.
    resistance_ohm : float
        Where. [Ω]

    Returns
    -------
    Budget
        In ohms.

    Raises
    ------
    OhmsCheckError
        If the check did not reach that far.
    """
    if not correction.lowest_ohm <= resistance_ohm <= correction.highest_ohm:
        raise OhmsCheckError(
            f"The {correction.reference_ohm:g} Ω range was checked from {correction.lowest_ohm:.0f} to "
            f"{correction.highest_ohm:.0f} Ω; nothing is said at {resistance_ohm:.0f} Ω."
        )
    count = _count_before_correction(correction, resistance_ohm)
    found_ohm = resistance_from_ratio_count(count, correction.reference_ohm)
    return combine(
        estimate=found_ohm - resistance_ohm,
        unit="Ω",
        lines=(
            normal(
                "decade box, with the value",
                resistance_ohm,
                "Ω",
                resistance_ohm * box.relative_standard_u(),
                1.0,
            ),
            normal("decade box, residual", 0.0, "Ω", box.fixed_standard_u_ohm(), 1.0),
            student(
                "correction and local nonlinearity",
                0.0,
                "Ω",
                correction.standard_u_ohm(count),
                1.0,
                float(correction.degrees_of_freedom),
            ),
        ),
    )


def _count_before_correction(correction: RangeCorrection, resistance_ohm: float) -> float:
    """Count that is corrected to a resistance. [count]"""
    wanted = ratio_count(resistance_ohm, correction.reference_ohm)
    count = wanted
    for _ in range(_ROUNDS):
        count += wanted - correction.corrected_count(count)
    return count
