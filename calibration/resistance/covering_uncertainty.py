"""One uncertainty of a whole decade box, from what its single steps were read with.

A register knows a box by a part of U that goes with the value and one that does not, combined as independent.
A setting is the sum of its steps, each read less the zero. What the reference does is common to all of them
and adds up; what display, clips and dials did is of each reading. Every setting that the box can make is
gone through, and the two parts are made large enough for all.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.resistance.decade_box import DecadeBoxCertificate

#: By how much the part with the value is larger than need be, so that the fixed part may be smaller.
_SHARE = 1.1

Vector = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class StepUncertainty:
    """Standard uncertainty of one reading, split by what it shares with the others. [Ω]

    Attributes
    ----------
    reference_ohm : float
        Of the reference: common to all readings.
    reading_ohm : float
        Of this reading alone.
    """

    reference_ohm: float
    reading_ohm: float


def setting_standard_u_ohm(
    steps: list[StepUncertainty], zero: StepUncertainty, *, leads_u_ohm: float = 0.0
) -> float:
    """Standard uncertainty of a setting that is made of steps, each read less the zero. [Ω]"""
    more = max(len(steps) - 1, 0)
    common = math.fsum(step.reference_ohm for step in steps) + more * zero.reference_ohm
    alone = math.fsum(step.reading_ohm**2 for step in steps) + (more * zero.reading_ohm) ** 2
    return math.sqrt(common**2 + alone + leads_u_ohm**2)


def covering_uncertainty(
    steps: Mapping[int, StepUncertainty],
    zero: StepUncertainty,
    *,
    leads_u_ohm: float = 0.0,
    zero_left_out_ohm: float = 0.0,
    k: float = 2.0,
) -> tuple[float, float]:
    """Both parts of U that cover every setting.

    Parameters
    ----------
    steps : Mapping[int, StepUncertainty]
        Of each step by its nominal value.
    zero : StepUncertainty
        Of what is read with every dial at zero.
    leads_u_ohm : float
        Of the joined leads: in every reading alike, so once in a setting. [Ω]
    zero_left_out_ohm : float
        What was read at zero and is not said in the register. [Ω]
    k : float
        Coverage factor of the register's entry.

    Returns
    -------
    tuple[float, float]
        Relative and fixed part. [1], [Ω]
    """
    value, common, alone, count = _every_setting(steps)
    more = np.maximum(count - 1.0, 0.0)
    variance = (common + more * zero.reference_ohm) ** 2 + alone + (more * zero.reading_ohm) ** 2
    u = np.sqrt(variance + leads_u_ohm**2)
    u[0] = math.hypot(zero.reference_ohm, zero.reading_ohm, leads_u_ohm)  # every dial at zero comes first
    expanded = k * u + abs(zero_left_out_ohm)
    highest = value >= value.max() / 10.0
    relative = _SHARE * float(np.max(expanded[highest] / value[highest]))
    rest = expanded**2 - (relative * value) ** 2
    return relative, math.sqrt(float(rest.max()))


def _every_setting(steps: Mapping[int, StepUncertainty]) -> tuple[Vector, Vector, Vector, Vector]:
    """Value, sum of the common parts, sum of squares of the others, and number of steps of each setting."""
    box = DecadeBoxCertificate(
        residual_ohm=0.0,
        step_ohm={step: float(step) for step in steps},
        expanded_u_relative=0.0,
        expanded_u_ohm=0.0,
        k=2.0,
    )
    found = np.zeros((4, 1))
    for decade in sorted({10 ** (len(str(step)) - 1) for step in steps}):
        dial = np.array([_position(box, steps, digit * decade) for digit in range(10)
                         if digit == 0 or _can_make(box, digit * decade)]).T  # fmt: skip
        found = (found[:, np.newaxis, :] + dial[:, :, np.newaxis]).reshape(4, -1)
    value, common, alone, count = found
    return value, common, alone, count


def _can_make(box: DecadeBoxCertificate, setting: int) -> bool:
    try:
        box.steps_of(setting)
    except ValueError:
        return False
    return True


def _position(
    box: DecadeBoxCertificate, steps: Mapping[int, StepUncertainty], setting: int
) -> tuple[float, float, float, float]:
    used = [steps[step] for step in box.steps_of(setting)]
    return (
        float(setting),
        math.fsum(step.reference_ohm for step in used),
        math.fsum(step.reading_ohm**2 for step in used),
        float(len(used)),
    )
