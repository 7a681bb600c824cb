"""Whether the desk itself would find the fault of an exercise, by the check that students make of it.

The readings are those to be expected of a part in the middle of its tolerance, without scatter; what is made
of them is what the desk makes of any. A fault that is not named from these is named from few real ones.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from calibration.curves import ReferenceCurve, curve_names, load_curve
from calibration.diagnosis import (
    NAMED_FROM,
    DeadPoint,
    Diagnosis,
    Fault,
    Finding,
    intermittence,
    why_on_the_bench,
)
from calibration.diagnosis.fault import UNLISTED_PART
from calibration.diagnosis.why import named_words
from host.classroom.exercise import ExerciseSettings, Way
from host.classroom.on_paper import diagnosis_of, readings_of_a_fault
from host.procedures.sender.burst_watch import BURSTS
from host.usual_plateau import USUAL_AIR_C, usual_plateau

#: Sizes that are tried, a decade of them: the preferred numbers of series E12 (IEC 60063, from memory).
_E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
_DECADES = range(-2, 5)
#: Readings of one burst, and the chance from which a finding is named beside others. Choices of ours.
_READINGS_A_BURST, _WORTH_A_WORD = 50, 0.05
#: Faults that a student is told the size of in the words of the bench, or not at all.
_OF_A_SIZE = (Fault.SERIES, Fault.LEAKAGE, Fault.R25, Fault.BETA, Fault.STEM_OR_THERMOMETER)


@dataclass(frozen=True, slots=True, kw_only=True)
class Findable:
    """What such a check would come to.

    Attributes
    ----------
    said : Diagnosis
    is_found : bool
    from_size : float or None
        The nearest size that would be found, where this one is not; None where none is. [unit of the fault]
    """

    said: Diagnosis
    is_found: bool
    from_size: float | None = None


def findable(made: ExerciseSettings, curve: ReferenceCurve) -> Findable:
    """Whether the fault of an exercise would be found, and if not, from what size on.

    Raises
    ------
    CurveError
        If the curve cannot judge where the check is to be made.
    """
    said = _said(made, curve, made.size)
    if _names(said, made):
        return Findable(said=said, is_found=True)
    return Findable(said=said, is_found=False, from_size=_found_from(made, curve))


def _names(said: Diagnosis, made: ExerciseSettings) -> bool:
    if made.fault == Fault.ANOTHER_CURVE and said.likeliest.variant == UNLISTED_PART:
        # "Cannot tell" which, but that it runs like a thermistor of another curve.
        return said.likeliest.probability >= NAMED_FROM
    return said.answer.fault == made.fault


def doubt_words(made: ExerciseSettings, curve: ReferenceCurve) -> str:
    """What an instructor is told before such a fault is set; empty where the desk itself would find it.

    Raises
    ------
    CurveError
        If the curve cannot judge where the check is to be made.
    """
    return _doubt_words(replace(made, title="", question="", stations=(), made_by=""), curve)


@lru_cache(maxsize=32)  # the form comes back as it was, once its doubt was read
def _doubt_words(made: ExerciseSettings, curve: ReferenceCurve) -> str:
    found = findable(made, curve)
    if found.is_found:
        return ""
    unit = made.planted.unit or made.planted.plant_unit.split(" ")[0]
    of_size = f" of {made.size:g} {unit}" if made.planted.wants_size else ""
    return (
        f"From such a check the desk itself would not name this fault{of_size}: {_answer(found.said)}. "
        f"{_way_out(made, found, unit)}"
    )


def _way_out(made: ExerciseSettings, found: Findable, unit: str) -> str:
    if made.fault == Fault.INTERMITTENT and made.way is not Way.ON_PAPER and not made.move_connector:
        return "A loose contact is found while the connector is moved: tick that."
    if found.from_size is None:
        return "Temperatures further apart or another curve may help."
    side = "down" if made.fault == Fault.LEAKAGE else "on"
    return f"It would from about {found.from_size:g} {unit} {side}; temperatures further apart help too."


def _answer(said: Diagnosis) -> str:
    if said.answer.fault is not Fault.CANNOT_TELL:
        return f"it would say {named_words(said.answer)}"
    likely = sorted(said.findings, key=lambda finding: -finding.probability)
    words = [_with_share(one) for one in likely[:3] if one.probability >= _WORTH_A_WORD]
    return f"it could not tell, and would list {'; '.join(words)}"


def _with_share(finding: Finding) -> str:
    return f"{finding.fault.words} ({100.0 * finding.probability:.0f} %)"


def _said(made: ExerciseSettings, curve: ReferenceCurve, size: float) -> Diagnosis:
    if made.readings:
        return diagnosis_of(made.readings, curve, made.limit_k)
    if made.way is Way.ON_PAPER:
        readings = readings_of_a_fault(curve, made.fault, size, made.set_points_c)
        return diagnosis_of(readings, curve, made.limit_k)
    return _said_on_the_bench(made, curve, size)


def _said_on_the_bench(made: ExerciseSettings, curve: ReferenceCurve, size: float) -> Diagnosis:
    read = readings_of_a_fault(curve, made.fault, size, made.set_points_c)
    points = [
        usual_plateau(curve, one.temperature_c, resistance_ohm=one.resistance_ohm)
        for one in read
        if one.resistance_ohm is not None
    ]
    # A check ends where the sender cannot be read, so that one dead set point is all there is.
    dead = [
        DeadPoint(temperature_c=one.temperature_c, circuit=one.circuit)
        for one in read
        if one.resistance_ohm is None and one.circuit is not None
    ][:1]
    burst = intermittence(_burst(made, curve, size)) if made.move_connector and points else None
    return why_on_the_bench(points, curve, library=_library(), air_c=USUAL_AIR_C, dead=dead, burst=burst)


def _burst(made: ExerciseSettings, curve: ReferenceCurve, size: float) -> Sequence[float]:
    """Readings while the connector is moved."""
    hottest_ohm = curve.nominal_ohm(max(made.set_points_c))
    share = size / 100.0 if made.fault == Fault.INTERMITTENT else 0.0
    # One burst of many, always the same one: a contact opens at random, and not at even distances.
    is_open = np.random.default_rng(1).random(BURSTS * _READINGS_A_BURST) < share
    found: list[float] = np.where(is_open, math.inf, hottest_ohm).tolist()
    return found


def _found_from(made: ExerciseSettings, curve: ReferenceCurve) -> float | None:
    """The nearest size with a larger effect that would be found: in leaps, then step by step between."""
    if made.fault not in _OF_A_SIZE or made.readings:
        return None
    sizes = _larger_effects(made)

    def is_found(number: int) -> bool:
        return _names(_said(made, curve, sizes[number]), made)

    last, leap = -1, 1
    while last < len(sizes) - 1:
        ahead = min(last + leap, len(sizes) - 1)
        if is_found(ahead):
            break
        last, leap = ahead, 2 * leap
    else:
        return None
    between = range(last + 1, ahead)
    return sizes[next((number for number in between if is_found(number)), ahead)]


def _larger_effects(made: ExerciseSettings) -> list[float]:
    """Preferred numbers beyond the size that was chosen, on its side, the nearest first."""
    fault, magnitude = made.planted, abs(made.size)
    known = [number * 10.0**decade for decade in _DECADES for number in _E12]
    if made.fault == Fault.LEAKAGE:
        return [size for size in reversed(known) if fault.lowest <= size < magnitude]
    highest = fault.highest if made.size > 0.0 else -fault.lowest
    return [math.copysign(size, made.size) for size in known if magnitude < size <= highest]


def _library() -> list[ReferenceCurve]:
    return [load_curve(name) for name in curve_names()]
