"""What a student sees before answering, as types that have no place for what was planted.

Pages and streams of students are made from these alone. There is no decade box in them, no order, no settings
of an exercise and no diagnosis; what is not in the type cannot be shown. What comes after the answer,
`Feedback`, is a type of its own.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from calibration.conformity import Verdict
from host.certificates.certificate import Witness
from host.classroom.marking import MarkLine


@dataclass(frozen=True, slots=True, kw_only=True)
class StudentChannel:
    """One channel of one reading.

    Attributes
    ----------
    words : str
        Why there is no value; empty where there is one.
    value : float or None
        [Ω or °C]
    """

    words: str = ""
    value: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StudentReading:
    """One reading of a bench.

    Attributes
    ----------
    station, boot, seq
        Which one.
    rig_time_s : float
        [s]
    simulated : bool
    channels : Mapping[str, StudentChannel]
    """

    station: str
    boot: str
    seq: int
    rig_time_s: float
    simulated: bool
    channels: Mapping[str, StudentChannel]


@dataclass(frozen=True, slots=True, kw_only=True)
class StudentCard:
    """The one next step, as `host.procedures.step_card.StepCard` has it."""

    step: int
    steps: int
    instruction: str
    caution: str | None
    button: str | None
    other_button: str | None
    waiting: str | None
    trouble: str | None
    is_hands_turn: bool
    caught: tuple[tuple[str, bool], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StudentPoint:
    """One temperature of a result: where, what the sender shows, its error and U. [°C], [Ω], [K]

    ``shown`` is what a meter showed, on paper; empty where a bench read the resistance.
    """

    temperature_c: float
    resistance_ohm: str
    indicated_c: float
    error_k: str
    expanded_u_k: str
    limit_k: str
    u_k: float
    verdict: Verdict | None
    witnesses: tuple[Witness, ...]
    shown: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StudentDeadPoint:
    """A temperature at which nothing can be judged, and what the meter showed there. [°C]"""

    temperature_c: float
    u_k: float
    shown: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StudentRun:
    """The sender check of a student.

    Attributes
    ----------
    card : StudentCard or None
        None once it is over.
    points : tuple[StudentPoint, ...]
        Of one that came to a result.
    sentence : str
        The result in one sentence.
    stopped : str
        Why it stopped, where it did.
    """

    number: int
    station: str
    simulated: bool
    card: StudentCard | None
    points: tuple[StudentPoint, ...] = ()
    sentence: str = ""
    stopped: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StudentBench:
    """A bench at this moment.

    Attributes
    ----------
    words : str
        Whether it is there.
    is_live : bool
    has_trouble : bool
        Whether somebody should look; of what kind, the instructor's page says.
    reading : StudentReading or None
        The newest.
    """

    station: str
    words: str
    is_live: bool
    has_trouble: bool
    reading: StudentReading | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StudentExercise:
    """An exercise before it is answered.

    Attributes
    ----------
    stations : tuple[str, ...]
        Where it may be begun.
    readings : tuple[StudentPoint | StudentDeadPoint, ...]
        Of an exercise without a rig: what was read, judged against the curve.
    may_begin, may_answer : bool
    is_closed : bool
    """

    number: int
    title: str
    question: str
    curve: str
    set_points_c: tuple[float, ...]
    stations: tuple[str, ...]
    readings: tuple[StudentPoint | StudentDeadPoint, ...]
    run: StudentRun | None
    may_begin: bool
    may_answer: bool
    is_answered: bool
    is_closed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class StudentRow:
    """An exercise in a student's list. ``word`` says where it stands."""

    number: int
    title: str
    word: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Feedback:
    """What a student sees once the answer is given.

    Attributes
    ----------
    answer, sentence : str
        As answered.
    truth : str
        What was planted.
    why : tuple[str, ...]
        What the desk itself makes of the readings.
    lines : tuple[MarkLine, ...]
    total : float
    is_whole : bool
        Whether every part is marked.
    """

    answer: str
    sentence: str
    truth: str
    why: tuple[str, ...]
    lines: tuple[MarkLine, ...]
    total: float
    is_whole: bool
