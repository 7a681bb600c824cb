"""A resistance meter and a decade box, dial by dial, typed by hand: one of them calibrates the other.

Works with no hardware. The box as reference gives the errors of the meter that typed checks are read with;
the meter as reference gives the box its certificate.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from enum import StrEnum
from typing import Any

from calibration.conformity import DecisionRule, overall_verdict
from calibration.errors import CalibrationError
from calibration.resistance.meter_and_box import (
    Compared,
    DialReading,
    box_against_meter,
    meter_against_box,
)
from calibration.rounding import decimals_of, rounded_text, two_digits
from host.certificates.bodies.ohms import CertifiedOhms, OhmsBody
from host.certificates.certificate import Certificate
from host.certificates.kind import Kind as PaperKind
from host.equivalent_kelvin import EQUIVALENT_WORDS, k_per_ohm
from host.errors import DeskError
from host.procedures.authorisation import let_out, paper_of
from host.procedures.bench_setup import decade_box_of
from host.procedures.event import Event
from host.procedures.logged import SENT_TWICE_WITHIN_S, events_of_kind
from host.procedures.run_kind import RunKind
from host.procedures.sender.sender_result import box_used
from host.registered_meter import meter_used, ohmmeter_of
from host.shop import Shop
from host.software_versions import software_versions
from host.store import Store
from host.store.runs import EventAfter
from host.verdict_words import RULE_WORDS

METHOD_VERSION = "1"
_FEWEST = 3


class Subject(StrEnum):
    """Which of the two is calibrated."""

    METER = "meter"
    BOX = "decade_box"

    @property
    def words(self) -> str:
        """As a person says it."""
        return "resistance meter" if self is Subject.METER else "decade box"

    @property
    def reference(self) -> "Subject":
        """The other one."""
        return Subject.BOX if self is Subject.METER else Subject.METER


class Kind(StrEnum):
    """Events of a check."""

    STARTED = "started"  # settings
    RESULT = "result"  # certificate and pdf_sha256, or draft


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterCheckSettings:
    """What was read, by value.

    Attributes
    ----------
    subject : Subject
        What is calibrated.
    serial : str
        By which it is known, also to the register.
    reference : Mapping[str, Any]
        Register entry of the other one.
    rows : tuple[DialReading, ...]
        Settings in rising order; 0 is the box with every dial at zero.
    leads : DialReading or None
        Leads joined; None where four wires were used.
    moved_percent : float
        What the reference may have moved since its certificate, half-width; 0: nothing is counted. [%]
    limit_percent, limit_ohm : float
        Limit of the error, both parts added; both 0: nothing is held against one. [%], [Ω]
    air_c : float or None
        [°C]
    rule : str
    operator : str
    day : str
        When it was read, ISO.
    """

    subject: Subject
    serial: str
    reference: Mapping[str, Any]
    rows: tuple[DialReading, ...]
    leads: DialReading | None
    moved_percent: float
    limit_percent: float
    limit_ohm: float
    air_c: float | None
    rule: str
    operator: str
    day: str

    @property
    def item(self) -> str:
        """As printed."""
        words = self.subject.words
        return f"{words[0].upper()}{words[1:]} {self.serial}"

    @property
    def has_limit(self) -> bool:
        """Whether errors are held against a limit."""
        return self.limit_percent > 0.0 or self.limit_ohm > 0.0

    @property
    def simulated(self) -> bool:
        """Whether the reference exists in simulation only."""
        return bool(self.reference.get("simulated", False))

    def limit_at(self, setting_ohm: float) -> float | None:
        """Limit of the error at a setting. [Ω]"""
        return self.limit_percent / 100.0 * setting_ohm + self.limit_ohm if self.has_limit else None

    def as_json(self) -> dict[str, Any]:
        """For the first event."""
        return {"item": self.item, **asdict(self)}

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> "MeterCheckSettings":
        """From the first event."""
        kept = {name: content[name] for name in cls.__dataclass_fields__}
        kept["subject"] = Subject(kept["subject"])
        kept["rows"] = tuple(_row_of(row) for row in kept["rows"])
        kept["leads"] = None if kept["leads"] is None else _row_of(kept["leads"])
        return cls(**kept)


def points_of(settings: MeterCheckSettings) -> tuple[CertifiedOhms, ...]:
    """Results at every setting above zero.

    Raises
    ------
    DeskError
        If there are too few settings, or the reference says nothing of one.
    """
    rows = [row for row in settings.rows if row.setting_ohm > 0.0]
    if len(rows) < _FEWEST:
        raise DeskError(f"Read {_FEWEST} settings of the dials at least, each on a line of its own.")
    return tuple(_point(settings, row) for row in rows)


def compared_at(settings: MeterCheckSettings, setting_ohm: float) -> Compared:
    """Box and meter at one setting that was read.

    Raises
    ------
    DeskError
        If it was not read, or the reference says nothing of it.
    """
    for row in settings.rows:
        if row.setting_ohm == setting_ohm:
            return _compared(settings, row)
    raise DeskError(f"{setting_ohm:g} Ω was not read.")


def zero_of(settings: MeterCheckSettings) -> CertifiedOhms | None:
    """The box with every dial at zero, where that was read and the box is calibrated."""
    row = next((row for row in settings.rows if row.setting_ohm == 0.0), None)
    return None if row is None or settings.subject is Subject.METER else _point(settings, row)


def _point(settings: MeterCheckSettings, row: DialReading) -> CertifiedOhms:
    compared = _compared(settings, row)
    is_meter = settings.subject is Subject.METER
    return CertifiedOhms.of(
        range_words=_decade_words(row.setting_ohm),
        setting_ohm=row.setting_ohm,
        true_ohm=compared.true_ohm,
        shown_ohm=compared.shown_ohm if is_meter else row.setting_ohm,
        lines=compared.lines,
        limit_ohm=settings.limit_at(row.setting_ohm),
        rule=DecisionRule(settings.rule),
        k_per_ohm=k_per_ohm(row.setting_ohm) if row.setting_ohm > 0.0 else None,
    )


def _compared(settings: MeterCheckSettings, row: DialReading) -> Compared:
    moved = settings.moved_percent / 100.0
    try:
        if settings.subject is Subject.METER:
            box = decade_box_of(settings.reference)
            return meter_against_box(row, box, leads=settings.leads, moved_relative=moved)
        meter = ohmmeter_of(settings.reference)
        return box_against_meter(row, meter, leads=settings.leads, moved_relative=moved)
    except (CalibrationError, ValueError) as error:
        raise DeskError(f"At {row.setting_ohm:g} Ω: {error}") from error


def meter_certificate(
    settings: MeterCheckSettings, *, run: int, number: str, shop: Shop, issued: date
) -> Certificate:
    """Certificate of a check."""
    points = points_of(settings)
    verdicts = [point.verdict for point in points if point.verdict is not None]
    rule = DecisionRule(settings.rule) if verdicts else None
    is_meter = settings.subject is Subject.METER
    return Certificate(
        number=number,
        issued=issued.isoformat(),
        measured=settings.day,
        shop=shop.name,
        shop_address=shop.address,
        item=settings.item,
        customer="",
        sentence=sentence_of(points, subject=settings.subject),
        method=f"{settings.subject.words} against a {settings.subject.reference.words}, "
        f"dial by dial, typed by hand, version {METHOD_VERSION} (run {run:04d})",
        body=OhmsBody(
            kind=PaperKind.RESISTANCE_METER if is_meter else PaperKind.DECADE_BOX,
            correction_words=(),
            points=points,
        ),
        simulated=settings.simulated,
        verdict=overall_verdict(verdicts) if verdicts else None,
        rule=rule,
        rule_words=RULE_WORDS[rule] if rule else "",
        instruments=(box_used(settings.reference) if is_meter else meter_used(settings.reference),),
        conditions=_conditions(settings),
        remarks=_remarks(settings, points),
        not_done=_not_done(settings),
        citations=(f"what was typed in run {run:04d}",),
        software=software_versions(),
        operator=settings.operator,
    )


def sentence_of(points: Sequence[CertifiedOhms], *, subject: Subject) -> str:
    """One sentence on a whole check, resting on the setting where it is furthest off."""
    worst = max(points, key=lambda point: abs(point.error_ohm) / point.setting_ohm)
    whole_ohm = worst.true_ohm if subject is Subject.METER else worst.setting_ohm
    percent = 100.0 * worst.error_ohm / whole_ohm
    sure_percent = 100.0 * worst.expanded_u_ohm / whole_ohm
    size = rounded_text(abs(percent), decimals_of(sure_percent))
    if subject is Subject.METER:
        said = f"reads {size} % too {'high' if percent > 0.0 else 'low'}"
    else:
        said = f"gives {size} % {'less' if percent > 0.0 else 'more'} than is dialled"
    return (
        f"At its worst, at {worst.setting_ohm:g} Ω, this {subject.words} {said}, "
        f"known to ± {two_digits(sure_percent)} %."
    )


def _conditions(settings: MeterCheckSettings) -> tuple[tuple[str, str], ...]:
    leads = settings.leads
    zero = zero_of(settings)
    said = [
        ("air", "not read" if settings.air_c is None else f"{settings.air_c:.0f} °C"),
        (
            "leads",
            "four wires"
            if leads is None
            else f"two wires; {leads.mean_ohm:g} Ω with the leads joined, taken off",
        ),
    ]
    if zero is not None:
        said.append(("every dial at zero", f"{zero.true_ohm:.3f} Ω ± {zero.expanded_u_ohm:.3f} Ω"))
    return tuple(said)


def _remarks(settings: MeterCheckSettings, points: tuple[CertifiedOhms, ...]) -> tuple[str, ...]:
    said = ["The last digit of the meter counts in full, however often it was read."]
    if settings.leads is not None:
        said.append("What clips and dials change from one time to the next is assumed to be within ±0.02 Ω.")
    if settings.moved_percent > 0.0:
        said.append(
            f"The reference is taken to have moved by up to ±{settings.moved_percent:g} % since its "
            "certificate."
        )
    if all(point.k_per_ohm is not None for point in points):
        said.append(EQUIVALENT_WORDS)
    return tuple(said)


def _not_done(settings: MeterCheckSettings) -> tuple[str, ...]:
    said = []
    if settings.moved_percent == 0.0:
        said.append("What the reference may have moved since its certificate is not counted.")
    if any(len(row.shown_ohm) < 2 for row in settings.rows):
        said.append("Not every setting was read more than once, so its repeatability is not all known.")
    if settings.subject is Subject.BOX:
        said.append("How the box changes with temperature and with the current through it was not measured.")
    return tuple(said)


def _decade_words(setting_ohm: float) -> str:
    if setting_ohm == 0.0:
        return "every dial at zero"
    return f"{10 ** math.floor(math.log10(setting_ohm) + 1e-9):g} Ω decade"


def _row_of(content: Mapping[str, Any]) -> DialReading:
    return DialReading(
        setting_ohm=float(content["setting_ohm"]),
        shown_ohm=tuple(float(shown) for shown in content["shown_ohm"]),
        resolution_ohm=float(content["resolution_ohm"]),
    )


class MeterChecks:
    """Checks of meters and boxes of one store."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def conclude(self, settings: MeterCheckSettings, *, shop: Shop, today: date) -> int:
        """Keep a check as a run and let its certificate out, or keep its draft; the run's number.

        Raises
        ------
        DeskError
            If the readings cannot be used.
        """
        points_of(settings)
        run = self._store.runs.create(
            station=None,
            kind=RunKind.METER_CHECK,
            settings=settings.as_json(),
            same_within_s=SENT_TWICE_WITHIN_S,
        )
        self._store.runs.append(run, Kind.STARTED, {"settings": settings.as_json()}, after=0)
        self.finish(run, shop=shop, today=today)
        return run

    def finish(self, run: int, *, shop: Shop, today: date) -> None:
        """Let the certificate of a kept check out, or keep its draft; one that has its paper stays as it is.

        Raises
        ------
        DeskError
            If there is no check of that number.
        """
        settings = self.settings(run)
        if paper_of(self._store, run) is None:
            let_out(
                self._store,
                run,
                lambda number: meter_certificate(settings, run=run, number=number, shop=shop, issued=today),
                measured_by=settings.operator,
                event=EventAfter(kind=Kind.RESULT, after=1),
            )
        self._store.runs.end(run)

    def settings(self, run: int) -> MeterCheckSettings:
        """What was read in a check.

        Raises
        ------
        DeskError
            If there is none of that number.
        """
        events = events_of_kind(self._store, run, RunKind.METER_CHECK, what="check of a meter or a box")
        return settings_in(events)

    def history(self) -> list[tuple[int, MeterCheckSettings]]:
        """Number and readings of every check, the newest first."""
        return [
            (run.number, MeterCheckSettings.from_json(run.settings))
            for run in reversed(self._store.runs.of_kind(RunKind.METER_CHECK))
        ]


def settings_in(events: Iterable[Event]) -> MeterCheckSettings:
    """Settings that stand in the first event of a run."""
    return MeterCheckSettings.from_json(next(iter(events)).payload["settings"])
