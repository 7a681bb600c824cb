"""A sender check from points typed by hand: a meter, a thermometer and a kettle."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from calibration.conformity import DecisionRule, Verdict, overall_verdict
from calibration.curves import ReferenceCurve, curve_names, load_curve
from calibration.diagnosis import (
    DeadCircuit,
    DeadPoint,
    Diagnosis,
    attribute,
    dead_points,
    points_by_hand,
)
from calibration.errors import CurveError, CurveRangeError, FitError
from calibration.resistance.ohmmeter import OhmmeterError
from calibration.sender_point import SenderPoint, hand_lines, judge
from calibration.thermistor.fit import CurveFit, FitPoint, Model, fit_curve
from calibration.uncertainty.budget import BudgetLine
from host.points_file import UNCERTAINTY_COLUMNS, PointsFile, PointsFileError, TypedDead, TypedPoint
from host.registered_meter import NamedMeter
from host.verdict_words import sentence_of

#: Standard uncertainties where the file gives none: a kitchen-grade thermometer read in a kettle,
#: and a hand meter with its leads.
ASSUMED_U_TEMPERATURE_K = 0.6
ASSUMED_U_RESISTANCE_PERCENT = 1.0
#: Less sure than this, and nothing was measured. [K], [%]
MOST_U_TEMPERATURE_K, MOST_U_RESISTANCE_PERCENT = 100.0, 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumption:
    """Standard uncertainties for what a file leaves out, and whose word they are.

    Attributes
    ----------
    u_temperature_k : float
        [K]
    u_resistance_percent : float
        [%]
    temperature_is_assumed, resistance_is_assumed : bool
        False where the person stated it for the whole file.
    """

    u_temperature_k: float = ASSUMED_U_TEMPERATURE_K
    u_resistance_percent: float = ASSUMED_U_RESISTANCE_PERCENT
    temperature_is_assumed: bool = True
    resistance_is_assumed: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedCheck:
    """A check of typed points, judged.

    Attributes
    ----------
    file : PointsFile
    curve : ReferenceCurve
    rule : DecisionRule
    limit_k : float or None
        Limit asked for in place of the curve's tolerance. [K]
    points : tuple[SenderPoint, ...]
        In the order of the file.
    used : tuple[FitPoint, ...]
        The points as they were judged: resistances corrected where the meter is known, with uncertainties.
    meter : NamedMeter or None
        The meter they were read with, where it has a certificate.
    verdict : Verdict or None
        None where no point could be read: then there is nothing to judge. Where only some could be, the
        sender may be out of tolerance by those, but not in tolerance.
    notes : tuple[str, ...]
        What was assumed or stated for the whole file.
    fit : CurveFit or None
    fit_trouble : str
        Why there is no fit; empty where there is one.
    diagnosis : Diagnosis
        Why the sender reads as it does, as far as these points can tell.
    """

    file: PointsFile
    curve: ReferenceCurve
    rule: DecisionRule
    limit_k: float | None
    points: tuple[SenderPoint, ...]
    used: tuple[FitPoint, ...]
    verdict: Verdict | None
    notes: tuple[str, ...]
    fit: CurveFit | None
    fit_trouble: str
    diagnosis: Diagnosis
    meter: NamedMeter | None = None

    @property
    def limit_words(self) -> str:
        """Where the limits come from."""
        if self.limit_k is not None:
            return f"±{self.limit_k:g} K, as asked for (the curve itself: {self.curve.tolerance})"
        return self.curve.tolerance

    @property
    def remarks(self) -> tuple[str, ...]:
        """Remarks of the points, each once; first what was not read."""
        judged = (remark for point in self.points for remark in point.remarks)
        return (*(not_read_words(dead) for dead in self.file.dead), *dict.fromkeys(judged))

    @property
    def sentence(self) -> str:
        """The result in one sentence, and where the sender could not be read."""
        if self.verdict is None:
            return self.reason
        where = ", ".join(f"{dead.point.temperature_c:.4g} °C" for dead in self.file.dead)
        if not where:
            return sentence_of(self.points)
        so = ", so that it is not decided" if self.is_open_by_what_was_not_read else ""
        return f"{sentence_of(self.points)} It could not be read at {where}{so}."

    @property
    def is_open_by_what_was_not_read(self) -> bool:
        """Whether every point that was read is in tolerance, and not every one was read."""
        judged = overall_verdict(point.verdict for point in self.points)
        return bool(self.file.dead) and judged is Verdict.IN_TOLERANCE

    @property
    def reason(self) -> str:
        """Why there is no verdict; empty where there is one."""
        if self.verdict is not None:
            return ""
        return (
            "At no temperature could the sender be read. Look at clips, leads and the meter's range; if they "
            "are sound, the fault is in the sender itself."
        )


def not_read_words(dead: TypedDead) -> str:
    """What is said of a row at which the circuit was dead."""
    return (
        f"At {dead.point.temperature_c:.4g} °C the meter showed {dead.point.circuit.words} "
        f"({dead.typed}): kept, not judged. The sender as a whole is not called in tolerance."
    )


def check_typed_points(
    file: PointsFile,
    *,
    curve: ReferenceCurve,
    rule: DecisionRule,
    limit_k: float | None = None,
    assumption: Assumption | None = None,
    meter: NamedMeter | None = None,
) -> TypedCheck:
    """Judge every point of a file against a reference curve.

    Parameters
    ----------
    file : PointsFile
    curve : ReferenceCurve
    rule : DecisionRule
    limit_k : float, optional
        Limit in place of the curve's tolerance. [K]
    assumption : Assumption, optional
        What the file leaves out.
    meter : NamedMeter, optional
        The meter of the register that the resistances were read with: its certificate corrects them and
        says how sure they are.

    Raises
    ------
    CurveError
        If the curve has no tolerance and no limit is given.
    PointsFileError
        If a point lies where the curve cannot judge or the meter's certificate does not reach, or has an
        uncertainty of its own beside the meter's; names its row.
    """
    if limit_k is None and not curve.has_tolerance:
        raise CurveError(
            f"The curve {curve.name} has no printed tolerance. Say how far the sender may be off: "
            "--limit-k K."
        )
    assumption = assumption or Assumption()
    file = _dead_set_apart(file, curve)
    used = points_as_read(file, assumption, meter)
    points = tuple(
        _judged(file, typed, point, curve, rule, limit_k, meter)
        for typed, point in zip(file.typed, used, strict=True)
    )
    fit, trouble = _fit(file.points if meter is None else _as_in_the_file(file.points, used))
    return TypedCheck(
        file=file,
        curve=curve,
        rule=rule,
        limit_k=limit_k,
        points=points,
        used=used,
        verdict=_verdict(points, file.dead),
        notes=_notes(file.points, assumption, meter),
        fit=fit,
        fit_trouble=trouble,
        diagnosis=_diagnosis(used, file.dead, curve),
        meter=meter,
    )


def _verdict(points: Sequence[SenderPoint], dead: Sequence[TypedDead]) -> Verdict | None:
    """Of the whole: a sender that could not be read where it was asked for is not passed on the rest."""
    if not points:
        return None
    missing = (Verdict.NOT_DECIDED,) if dead else ()
    return overall_verdict((*(point.verdict for point in points), *missing))


def _dead_set_apart(file: PointsFile, curve: ReferenceCurve) -> PointsFile:
    """The file with those rows as dead whose resistance is no temperature at all, such as some megohms.

    Where every row would be right with a thousand times the ohms, or a thousandth, the unit was mixed up and
    nothing is dead: such a file is left to be refused.
    """
    if any(all(_fits(typed.point, curve, factor) for typed in file.typed) for factor in (1e-3, 1e3)):
        return file
    gone = {typed.row for typed in file.typed if _is_no_temperature(typed.point, curve)}
    return replace(
        file,
        typed=tuple(typed for typed in file.typed if typed.row not in gone),
        dead=(*file.dead, *(_as_dead(typed, curve) for typed in file.typed if typed.row in gone)),
    )


def _is_no_temperature(point: FitPoint, curve: ReferenceCurve) -> bool:
    try:
        curve.indicated_c(point.resistance_ohm, at_c=point.temperature_c)
    except CurveRangeError as error:
        # A temperature outside the curve is another matter, and is refused.
        return error.unit != "°C"
    return False


def _fits(point: FitPoint, curve: ReferenceCurve, factor: float) -> bool:
    try:
        nominal_ohm = curve.nominal_ohm(point.temperature_c)
    except CurveRangeError:
        return False
    return 0.5 < factor * point.resistance_ohm / nominal_ohm < 2.0


def _as_dead(typed: TypedPoint, curve: ReferenceCurve) -> TypedDead:
    point = typed.point
    is_open = point.resistance_ohm > curve.nominal_ohm(point.temperature_c)
    circuit = DeadCircuit.OPEN if is_open else DeadCircuit.SHORT
    return TypedDead(
        row=typed.row,
        point=DeadPoint(temperature_c=point.temperature_c, circuit=circuit),
        typed=f"{point.resistance_ohm:.4g} Ω",
    )


def _diagnosis(
    points: Sequence[FitPoint], typed_dead: Sequence[TypedDead], curve: ReferenceCurve
) -> Diagnosis:
    library = [load_curve(name) for name in curve_names()]
    dead = [one.point for one in typed_dead]
    measured = points_by_hand(points).and_dead(dead) if points else dead_points(dead, by_hand=True)
    return attribute(measured, curve, library=library)


def points_as_read(
    file: PointsFile, assumption: Assumption, meter: NamedMeter | None = None
) -> tuple[FitPoint, ...]:
    """Points of which each knows its uncertainties: the meter's, its own, else those assumed for all.

    Raises
    ------
    PointsFileError
        If the meter's certificate does not reach one; names its row.
    """
    if meter is None:
        return tuple(_with_uncertainty(point, assumption) for point in file.points)
    return tuple(_with_uncertainty(_corrected(file, typed, meter), assumption) for typed in file.typed)


def _corrected(file: PointsFile, typed: TypedPoint, meter: NamedMeter) -> FitPoint:
    if typed.point.u_resistance_ohm is not None:
        raise PointsFileError(
            file.name,
            f"the certificate of the meter {meter.serial} says how sure its readings are. Leave this empty, "
            "or name no meter.",
            row=typed.row,
            column=UNCERTAINTY_COLUMNS[1],
        )
    try:
        read = meter.read(typed.point.resistance_ohm, last_digit_ohm=typed.last_digit_ohm)
    except OhmmeterError as error:
        raise PointsFileError(
            file.name, f"{error} Or name no meter.", row=typed.row, column=file.resistance_column
        ) from error
    return replace(typed.point, resistance_ohm=read.resistance_ohm, u_resistance_ohm=read.standard_u_ohm)


def _as_in_the_file(points: Sequence[FitPoint], used: Sequence[FitPoint]) -> tuple[FitPoint, ...]:
    """Corrected resistances, weighted only where the file itself says how sure its temperatures are."""
    return tuple(
        replace(
            point,
            resistance_ohm=one.resistance_ohm,
            u_resistance_ohm=None if point.u_temperature_k is None else one.u_resistance_ohm,
        )
        for point, one in zip(points, used, strict=True)
    )


def _with_uncertainty(point: FitPoint, assumption: Assumption) -> FitPoint:
    u_temperature_k, u_resistance_ohm = point.u_temperature_k, point.u_resistance_ohm
    if u_temperature_k is None:
        u_temperature_k = assumption.u_temperature_k
    if u_resistance_ohm is None:
        u_resistance_ohm = assumption.u_resistance_percent / 100.0 * point.resistance_ohm
    return FitPoint(
        temperature_c=point.temperature_c,
        resistance_ohm=point.resistance_ohm,
        u_temperature_k=u_temperature_k,
        u_resistance_ohm=u_resistance_ohm,
    )


def _judged(
    file: PointsFile,
    typed: TypedPoint,
    point: FitPoint,
    curve: ReferenceCurve,
    rule: DecisionRule,
    limit_k: float | None,
    meter: NamedMeter | None,
) -> SenderPoint:
    assert point.u_temperature_k is not None and point.u_resistance_ohm is not None
    try:
        return judge(
            curve=curve,
            temperature_c=point.temperature_c,
            resistance_ohm=point.resistance_ohm,
            u_resistance_ohm=point.u_resistance_ohm,
            lines=_lines(typed, point, curve, meter),
            rule=rule,
            limit_k=limit_k,
        )
    except CurveRangeError as error:
        column = file.temperature_column if error.unit == "°C" else file.resistance_column
        raise PointsFileError(file.name, str(error), row=typed.row, column=column) from error


def _lines(
    typed: TypedPoint, point: FitPoint, curve: ReferenceCurve, meter: NamedMeter | None
) -> tuple[BudgetLine, ...]:
    assert point.u_temperature_k is not None and point.u_resistance_ohm is not None
    by_hand = hand_lines(
        curve=curve,
        temperature_c=point.temperature_c,
        resistance_ohm=point.resistance_ohm,
        u_temperature_k=point.u_temperature_k,
        u_resistance_ohm=point.u_resistance_ohm,
    )
    if meter is None:
        return by_hand
    read = meter.read(
        typed.point.resistance_ohm,
        last_digit_ohm=typed.last_digit_ohm,
        per_ohm=curve.sensitivity_k_per_ohm(point.resistance_ohm),
    )
    return (by_hand[0], *read.lines)


def _fit(points: Sequence[FitPoint]) -> tuple[CurveFit | None, str]:
    """Fit what the file itself says, so that `ohmbath fit` gives the same coefficients."""
    if not points:
        return None, "No resistance was read."
    different = len({point.temperature_c for point in points})
    if different < 2:
        return None, "One temperature gives no curve: measure at three or more."
    model = Model.STEINHART_HART if different >= len(Model.STEINHART_HART.powers) else Model.BETA
    try:
        return fit_curve(points, model), ""
    except FitError as error:
        return None, str(error)


def _notes(points: Sequence[FitPoint], assumption: Assumption, meter: NamedMeter | None) -> tuple[str, ...]:
    notes = [] if meter is None else [meter.words]
    for lacking, given, words, is_assumed in (
        (
            sum(point.u_temperature_k is None for point in points),
            f"{assumption.u_temperature_k:g} K",
            "temperature",
            assumption.temperature_is_assumed,
        ),
        (
            sum(point.u_resistance_ohm is None for point in points) if meter is None else 0,
            f"{assumption.u_resistance_percent:g} % of R",
            "resistance",
            assumption.resistance_is_assumed,
        ),
    ):
        if lacking:
            where = "every point" if lacking == len(points) else f"{lacking} of {len(points)} points"
            how = "assumed" if is_assumed else "stated for the whole file"
            notes.append(f"Standard uncertainty of {words}: {given} ({how}, {where}).")
    return tuple(notes)
