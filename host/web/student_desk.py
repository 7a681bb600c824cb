"""From the desk to what a student may see: the one place that knows both sides.

Everything here ends in a type of `host.classroom.student_view`, or in nothing.
"""

from collections.abc import Callable
from dataclasses import replace

from calibration.contract.readings import ChannelReading, Insertion, Quality, ReadingPack
from calibration.curves import ReferenceCurve
from calibration.sender_point import SenderPoint
from host.certificates.canonical import certificate_from_canonical
from host.certificates.certificate import CertifiedPoint
from host.certificates.printed import printed_point
from host.classroom import on_paper
from host.classroom.exercise import Answer, Attempt, ExerciseSettings, TypedPoint
from host.classroom.exercises import Exercise, ExerciseError
from host.classroom.marking import marks_of, truth_words
from host.classroom.planted_box import CHECKING, NOT_READY, Sight
from host.classroom.student_view import (
    Feedback,
    StudentBench,
    StudentCard,
    StudentChannel,
    StudentDeadPoint,
    StudentExercise,
    StudentPoint,
    StudentReading,
    StudentRow,
    StudentRun,
)
from host.curve_choice import curve_by_name
from host.live import StationState
from host.procedures.sender.sender_check_state import Phase
from host.procedures.step_card import StepCard
from host.typed_check import ASSUMED_U_TEMPERATURE_K
from host.web.desk_behind import DeskBehind
from host.web.live_values import QUALITY_WORDS

#: Said of sender and probe while the decade box stands in for one of them.
CHECKING_ITSELF = "the bench is checking its own ohms"
NOT_READ_YET = "is read from the heating on"


class StudentDesk:
    """What one student's pages ask of the desk.

    Parameters
    ----------
    desk : DeskBehind
    account : int
        Of the student.
    """

    def __init__(self, desk: DeskBehind, account: int) -> None:
        self._desk, self._account = desk, account

    def rows(self) -> list[StudentRow]:
        """The student's exercises, the newest first."""
        return [
            StudentRow(number=one.number, title=one.state.made.title, word=self._word(one))
            for one in self._desk.exercises.of_student(self._account)
        ]

    def exercise(self, number: int) -> StudentExercise:
        """One exercise of the student.

        Raises
        ------
        ExerciseError
            If it is not the student's.
        """
        found = self._found(number)
        state, attempt, exercises = found.state, self._attempt(found), self._desk.exercises
        made, is_answered = state.made, attempt.answer is not None
        may = not state.is_closed and not is_answered
        return StudentExercise(
            number=number,
            title=made.title,
            question=made.question,
            curve=made.curve,
            set_points_c=made.set_points_c,
            stations=tuple(
                station for station in state.open_stations if self._desk.runs.open_run_of(station) is None
            ),
            readings=self._typed(found),
            run=None if attempt.run is None else self._run(attempt.run),
            may_begin=may and not made.readings and exercises.may_begin_again(attempt),
            may_answer=may and exercises.may_answer(number, attempt),
            is_answered=is_answered,
            is_closed=state.is_closed,
        )

    def feedback(self, number: int) -> Feedback:
        """What was planted, and the marks.

        Raises
        ------
        ExerciseError
            Before the student has answered.
        """
        found = self._found(number)
        attempt = self._attempt(found)
        if attempt.answer is None:
            raise ExerciseError("The answer comes first.")
        marks = marks_of(found.state.made, attempt.answer, attempt.mark)
        return Feedback(
            answer=attempt.answer.words,
            sentence=attempt.answer.sentence,
            truth=truth_words(found.state.made),
            why=why_of(self._desk, found, attempt),
            lines=marks.lines,
            total=marks.total,
            is_whole=marks.is_whole,
        )

    def begin(self, number: int, station: str) -> None:
        """Begin the sender check."""
        self._desk.exercises.begin(number, self._account, station)

    def answer(self, number: int, *, fault: str, size: float | None, unit: str, sentence: str) -> None:
        """Give the one answer."""
        answer = Answer(fault=fault, size=size, unit=unit, sentence=sentence)
        self._desk.exercises.answer(number, self._account, answer)

    def bench(self, number: int) -> StudentBench | None:
        """Bench of the student's run just now; None before one was begun.

        Once the run is over the bench shows nothing: what was planted may be gone from it.
        """
        found = self._found(number)
        attempt = self._attempt(found)
        live = None if attempt.station is None else self._desk.live.station(attempt.station)
        if live is None:
            return None
        seen_as = self._seen_as(found)
        reading = None if live.latest is None or seen_as is None else seen_as(live.latest)
        return StudentBench(
            station=live.station,
            words=live.words,
            is_live=live.state is StationState.LIVE,
            has_trouble=bool(live.trouble),
            reading=reading,
        )

    def seen_as(self, number: int) -> Callable[[ReadingPack], StudentReading] | None:
        """What makes a reading of the bench one that the student may see; None once the run is over."""
        return self._seen_as(self._found(number))

    def run(self, number: int) -> StudentRun | None:
        """Sender check of the student, None before one was begun."""
        run = self._attempt(self._found(number)).run
        return None if run is None else self._run(run)

    def _seen_as(self, found: Exercise) -> Callable[[ReadingPack], StudentReading] | None:
        run = self._attempt(found).run
        state = None if run is None else self._desk.runs.view(run).state
        if state is None or state.is_over:
            return None
        sight = Sight(box=found.state.made.box, heated_from=state.heated_from)
        return lambda pack: student_reading_of(pack, sight)

    def curve(self, number: int) -> ReferenceCurve:
        """Curve of an exercise."""
        return curve_by_name(self._found(number).state.made.curve, self._desk.store.curves)

    def _found(self, number: int) -> Exercise:
        try:
            found = self._desk.exercises.get(number)
        except ExerciseError:
            found = None
        if found is None or self._account not in found.state.attempts:
            raise ExerciseError(f"There is no exercise {number:04d} of yours.")
        return found

    def _attempt(self, found: Exercise) -> Attempt:
        return found.state.attempts[self._account]

    def _word(self, found: Exercise) -> str:
        attempt = self._attempt(found)
        if attempt.mark is not None:
            return "marked"
        if attempt.answer is not None:
            return "answered"
        if found.state.is_closed:
            return "closed"
        return "begun" if attempt.runs else "to do"

    def _typed(self, found: Exercise) -> tuple[StudentPoint | StudentDeadPoint, ...]:
        """Readings of an exercise without a rig, against the curve."""
        made = found.state.made
        return table_on_paper(made, self.curve(found.number)) if made.readings else ()

    def _run(self, number: int) -> StudentRun:
        view = self._desk.runs.view(number)
        kept = self._desk.store.exercise_results.of_run(number)
        certificate = None if kept is None else certificate_from_canonical(kept.canonical_json)
        is_stopped = view.state.phase is Phase.STOPPED
        return StudentRun(
            number=number,
            station=view.station,
            simulated=view.simulated,
            card=None if view.state.is_over else student_card_of(self._desk.runs.student_card(number)),
            points=() if certificate is None else tuple(_point(point) for point in certificate.points),
            sentence="" if certificate is None else certificate.sentence,
            stopped=(view.state.reason or "No reason was given.") if is_stopped else "",
        )


def why_of(desk: DeskBehind, exercise: Exercise, attempt: Attempt) -> tuple[str, ...]:
    """What the desk itself makes of a student's readings; for who has answered, and who marks."""
    made = exercise.state.made
    if made.readings:
        return on_paper.why(made.readings, curve_by_name(made.curve, desk.store.curves), made.limit_k)
    kept = None if attempt.run is None else desk.store.exercise_results.of_run(attempt.run)
    return () if kept is None else tuple(certificate_from_canonical(kept.canonical_json).opinions)


def table_on_paper(
    made: ExerciseSettings, curve: ReferenceCurve
) -> tuple[StudentPoint | StudentDeadPoint, ...]:
    """Readings of an exercise without a rig as a student sees them, each against the curve."""
    judged = on_paper.judged(made.readings, curve, made.limit_k)
    return tuple(_on_paper(read, point) for read, point in zip(made.readings, judged, strict=True))


def _on_paper(read: TypedPoint, point: SenderPoint | None) -> StudentPoint | StudentDeadPoint:
    shown = " Ω, then ".join(read.shown)
    if point is None:
        return StudentDeadPoint(
            temperature_c=read.temperature_c, u_k=2.0 * ASSUMED_U_TEMPERATURE_K, shown=shown
        )
    as_shown = shown if read.circuit is None else f"not steady: {shown}"
    return replace(_point(CertifiedPoint.of(point, ())), shown=as_shown)


def student_card_of(card: StepCard) -> StudentCard:
    """Step card as a student sees it."""
    return StudentCard(
        step=card.step,
        steps=card.steps,
        instruction=card.instruction,
        caution=card.caution,
        button=card.button,
        other_button=card.other_button,
        waiting=card.waiting,
        trouble=card.trouble,
        is_hands_turn=card.is_hands_turn,
        caught=card.caught,
    )


def student_reading_of(pack: ReadingPack, sight: Sight) -> StudentReading:
    """Reading as a student sees it."""
    seen = sight.of(pack)
    return StudentReading(
        station=seen.station,
        boot=seen.boot,
        seq=seen.seq,
        rig_time_s=seen.rig_time_s,
        simulated=seen.simulated,
        channels={name: _channel(seen, name, channel) for name, channel in seen.channels.items()},
    )


def as_pack(reading: StudentReading) -> ReadingPack:
    """The same for code that works on packs; it knows of the bench what the student's reading says."""
    return ReadingPack(
        station=reading.station,
        rig="",
        boot=reading.boot,
        seq=reading.seq,
        rig_time_s=reading.rig_time_s,
        simulated=reading.simulated,
        decade_ohm=0.0,
        insertion=Insertion.NONE,
        range_ohm=0.0,
        channels={
            name: ChannelReading(quality=Quality.GOOD, value=channel.value)
            if channel.value is not None
            else ChannelReading(quality=Quality.MISSING, reason=channel.words)
            for name, channel in reading.channels.items()
        },
    )


def _channel(pack: ReadingPack, name: str, channel: ChannelReading) -> StudentChannel:
    if pack.insertion in CHECKING and name in ("sender", "probe"):
        return StudentChannel(words=CHECKING_ITSELF)
    if channel.quality is Quality.GOOD and channel.value is not None:
        return StudentChannel(value=channel.value)
    if channel.reason == NOT_READY:
        return StudentChannel(words=NOT_READ_YET)
    return StudentChannel(words=QUALITY_WORDS.get(channel.quality, "no usable value"))


def _point(point: CertifiedPoint) -> StudentPoint:
    printed = printed_point(point)
    return StudentPoint(
        temperature_c=point.temperature_c,
        resistance_ohm=printed.resistance_ohm,
        indicated_c=point.indicated_c,
        error_k=printed.error_k.replace("-", "−"),
        expanded_u_k=printed.expanded_u_k,
        limit_k=printed.limit_k,
        u_k=point.expanded_u_k,
        verdict=point.verdict,
        witnesses=point.witnesses,
    )
