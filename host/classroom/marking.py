"""Marks of an answer against what was planted, with the credit for each part in words."""

from dataclasses import dataclass

from host.classroom.exercise import Answer, ExerciseSettings, SentenceMark
from host.classroom.nameable import size_in

FULL_CREDIT = 100
#: Beyond the tolerance, up to so many times of it, half the credit for the size. A choice of ours: no
#: standard says how to mark.
HALF_WITHIN = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkLine:
    """One part of the marks.

    Attributes
    ----------
    part : str
    credit : float or None
        None where it is still to be marked.
    most : int
    words : str
        Why.
    """

    part: str
    credit: float | None
    most: int
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """All parts of one answer."""

    lines: tuple[MarkLine, ...]

    @property
    def total(self) -> float:
        """Credit so far, of 100."""
        return sum(line.credit or 0.0 for line in self.lines)

    @property
    def is_whole(self) -> bool:
        """Whether every part is marked."""
        return all(line.credit is not None for line in self.lines)


def marks_of(settings: ExerciseSettings, answer: Answer, mark: SentenceMark | None) -> Marks:
    """Marks of an answer."""
    return Marks(lines=(_naming(settings, answer), _size(settings, answer), _reasoning(settings, mark)))


def truth_words(settings: ExerciseSettings) -> str:
    """What was planted, in words."""
    fault = settings.planted
    unit = fault.unit or fault.plant_unit
    return f"{fault.words}, {settings.size:g} {unit}" if unit else fault.words


def _naming(settings: ExerciseSettings, answer: Answer) -> MarkLine:
    most = settings.credits.naming
    if answer.fault == settings.fault:
        return MarkLine(part="Fault", credit=float(most), most=most, words="The fault is named rightly.")
    return MarkLine(
        part="Fault", credit=0.0, most=most, words=f"It was another: {settings.planted.words.lower()}."
    )


def _size(settings: ExerciseSettings, answer: Answer) -> MarkLine:
    most, fault = settings.credits.size, settings.planted

    def line(share: float, words: str) -> MarkLine:
        return MarkLine(part="Size", credit=share * most, most=most, words=words)

    if answer.fault != settings.fault:
        return line(0.0, "The size of another fault tells nothing.")
    if not fault.has_size:
        return line(1.0, "This one has no size to be told: its credit goes with the name.")
    if answer.size is None:
        return line(0.0, "No size was written.")
    size = size_in(fault.unit, answer.size, answer.unit)
    if size is None:
        return line(0.0, f"Its size is in {fault.unit}, not in {answer.unit}.")
    off = abs(size - settings.size)
    within = abs(settings.size) * settings.tolerance_percent / 100.0
    said = (
        f"{size:g} {fault.unit} against {settings.size:g} {fault.unit}: off by {off:.3g} {fault.unit}, "
        f"and the tolerance is {within:.3g} {fault.unit}"
    )
    # What is off by just the tolerance is within it, whatever the last digit of a float says.
    if off <= within * (1.0 + 1e-9):
        return line(1.0, f"{said}. Full credit.")
    if off <= HALF_WITHIN * within * (1.0 + 1e-9):
        return line(0.5, f"{said}; within twice that. Half credit.")
    return line(0.0, f"{said}; beyond twice that.")


def _reasoning(settings: ExerciseSettings, mark: SentenceMark | None) -> MarkLine:
    most = settings.credits.reasoning
    if mark is None:
        words = "The instructor has not read the sentence yet." if most else "No credit was set on it."
        return MarkLine(part="Sentence", credit=None if most else 0.0, most=most, words=words)
    words = mark.words or f"{100.0 * mark.share:.0f} % of its credit."
    return MarkLine(part="Sentence", credit=mark.share * most, most=most, words=words)
