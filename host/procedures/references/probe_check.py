"""The check of the reference probe at ice and in boiling water, kept as a run with its history.

What was read stands in its first event by value, so that the certificate can be worked out again from there.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import date
from enum import StrEnum
from typing import Any

from calibration.bath.fixed_points import (
    FixedPoint,
    boiling_at_altitude,
    boiling_at_pressure,
    ice_point,
    refuse_sea_level_pressure,
)
from calibration.conformity import DecisionRule, Verdict, overall_verdict
from calibration.errors import CalibrationError
from calibration.rounding import decimals_of, rounded_text
from calibration.uncertainty.line import normal, rectangular
from host.certificates.bodies.reference_probe import CertifiedProbePoint, ReferenceProbeBody
from host.certificates.certificate import Certificate, Coefficient, InstrumentUsed, Witness
from host.citation import Citation
from host.errors import DeskError
from host.procedures.authorisation import let_out
from host.procedures.bench_setup import probe_of
from host.procedures.event import Event
from host.procedures.logged import SENT_TWICE_WITHIN_S, events_of_kind
from host.procedures.run_kind import RunKind
from host.shop import Shop
from host.software_versions import software_versions
from host.store import Store
from host.store.runs import EventAfter
from host.verdict_words import RULE_WORDS

METHOD_VERSION = "1"
METHOD = "Probe check: melting ice and boiling water at station pressure"
_K = 2.0


class Kind(StrEnum):
    """Events of a probe check."""

    STARTED = "started"  # settings
    RESULT = "result"  # certificate and pdf_sha256, or draft


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeCheckSettings:
    """What was read, by value.

    Attributes
    ----------
    item, operator : str
    probe : Mapping[str, Any]
        Register entry.
    ice_ohm, boiling_ohm : float or None
        Resistance of the probe there; None where it was not read. [Ω]
    ice_error_ohm, boiling_error_ohm : float
        Most that the meter or the channel may be off there, half-width. [Ω]
    cites : Mapping[str, Mapping]
        By "ice" or "boiling", the readings that a station took it from; of what was typed, none.
    pressure_kpa, altitude_m : float or None
        Of the place; with both, the pressure counts and is held against the altitude. [kPa], [m]
    rule : str
    limit_k : float or None
        [K]
    simulated : bool
    """

    item: str
    probe: Mapping[str, Any]
    ice_ohm: float | None = None
    ice_error_ohm: float = 0.0
    boiling_ohm: float | None = None
    boiling_error_ohm: float = 0.0
    pressure_kpa: float | None = None
    altitude_m: float | None = None
    rule: str = DecisionRule.GUARDED.value
    limit_k: float | None = None
    operator: str = ""
    simulated: bool = False
    cites: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    @property
    def cited(self) -> Mapping[str, Citation]:
        """Readings behind what a station read, by "ice" or "boiling"."""
        return {where: Citation.from_json(one) for where, one in self.cites.items()}

    def as_json(self) -> dict[str, Any]:
        """For the first event."""
        return asdict(self)

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> "ProbeCheckSettings":
        """From the first event."""
        return cls(**{name: content[name] for name in cls.__dataclass_fields__ if name in content})

    def boiling(self) -> FixedPoint:
        """Boiling point of the place.

        Raises
        ------
        DeskError
            If neither pressure nor altitude is known.
        FixedPointError
            If the pressure is not one of the place.
        """
        if self.pressure_kpa is None and self.altitude_m is None:
            raise DeskError(
                "Boiling needs the air pressure at the bench, or at least its altitude: water boils 1.65 K "
                "lower at 500 m than at the sea."
            )
        if self.pressure_kpa is None:
            return boiling_at_altitude(self.altitude_m or 0.0)
        if self.altitude_m is not None:
            refuse_sea_level_pressure(self.pressure_kpa, self.altitude_m)
        return boiling_at_pressure(self.pressure_kpa)


def points_of(settings: ProbeCheckSettings) -> tuple[CertifiedProbePoint, ...]:
    """Points of a check.

    Raises
    ------
    DeskError
        If nothing was read.
    CalibrationError
        If a fixed point cannot be given.
    """
    points = []
    if settings.ice_ohm is not None:
        points.append(_point(settings, "ice point", ice_point(), settings.ice_ohm, settings.ice_error_ohm))
    if settings.boiling_ohm is not None:
        boiling = settings.boiling()
        points.append(
            _point(settings, "boiling water", boiling, settings.boiling_ohm, settings.boiling_error_ohm)
        )
    if not points:
        raise DeskError("Read the probe at one of the two points at least.")
    return tuple(points)


def _point(
    settings: ProbeCheckSettings, where: str, fixed: FixedPoint, ohm: float, error_ohm: float
) -> CertifiedProbePoint:
    probe = probe_of(settings.probe)
    shown_c = probe.temperature_c(ohm)
    per_ohm = (probe.temperature_c(ohm * 1.0001) - shown_c) / (ohm * 0.0001)
    meter = rectangular("resistance, meter or channel", ohm, "Ω", error_ohm, per_ohm)
    return CertifiedProbePoint.of(
        probe,
        where=where,
        reference_c=fixed.temperature_c,
        resistance_ohm=ohm,
        u_resistance_ohm=meter.standard_u,
        lines=(normal(where, fixed.temperature_c, "°C", fixed.budget.standard_u, -1.0), meter),
        limit_k=settings.limit_k,
        rule=DecisionRule(settings.rule),
        witnesses=(
            Witness(name=where, temperature_c=fixed.temperature_c, expanded_u_k=fixed.expanded_u_k),
            Witness(name="probe shows", temperature_c=shown_c, expanded_u_k=_K * abs(meter.contribution)),
        ),
    )


def probe_certificate(
    settings: ProbeCheckSettings, *, run: int, number: str, shop: Shop, today: date
) -> Certificate:
    """Certificate of a check."""
    content, points = settings.probe, points_of(settings)
    probe = probe_of(content)
    verdicts = [point.verdict for point in points if point.verdict is not None]
    rule = DecisionRule(settings.rule) if verdicts else None
    paper = f"certificate {content['certificate']}, {content['issuer']}"
    return Certificate(
        number=number,
        issued=today.isoformat(),
        measured=today.isoformat(),
        shop=shop.name,
        shop_address=shop.address,
        item=settings.item,
        customer="",
        sentence=sentence_of(points),
        method=f"{METHOD}, version {METHOD_VERSION} (run {run:04d})",
        body=ReferenceProbeBody(
            coefficients=tuple(
                Coefficient(name=name, value=float(content[name]), standard_u=None)
                for name in ("a", "b", "c")
            ),
            coefficients_source=f"{paper}, {probe.valid_from_c:g} to {probe.valid_to_c:g} °C, "
            f"U = {probe.expanded_u_k:g} K (k = {probe.k:g})",
            points=points,
        ),
        simulated=settings.simulated,
        verdict=overall_verdict(verdicts) if verdicts else None,
        rule=rule,
        rule_words=RULE_WORDS[rule] if rule else "",
        instruments=(
            InstrumentUsed(
                role="reference probe",
                serial=str(content["serial"]),
                certificate=f"{content['certificate']}, {content['issuer']}",
                expanded_u=f"{probe.expanded_u_k:g} K (k = {probe.k:g})",
                due=str(content.get("due", "no date set")),
            ),
        ),
        conditions=_conditions(settings),
        remarks=(
            "Two points verify or shift a known curve; they give none of their own.",
            *outside_words(settings, points),
        ),
        not_done=tuple(
            f"The {where} was not read."
            for where, ohm in (("ice point", settings.ice_ohm), ("boiling point", settings.boiling_ohm))
            if ohm is None
        ),
        citations=_citations(settings, run),
        software=software_versions(),
        operator=settings.operator,
    )


def sentence_of(points: Sequence[CertifiedProbePoint]) -> str:
    """One sentence on a whole check."""
    said = [
        f"{rounded_text(abs(point.error_k), decimals_of(point.expanded_u_k))} K "
        f"{'high' if point.error_k > 0.0 else 'low'} at the {point.where}"
        for point in points
        if abs(point.error_k) > point.expanded_u_k
    ]
    if not said:
        return "The probe says what its certificate says, as far as can be told."
    return f"The probe reads {' and '.join(said)}."


def outside_words(settings: ProbeCheckSettings, points: Sequence[CertifiedProbePoint]) -> tuple[str, ...]:
    """What is said of points that the certificate of the probe does not cover."""
    probe = probe_of(settings.probe)
    return tuple(
        f"The {point.where} lies outside the probe's certificate, which covers {probe.valid_from_c:g} to "
        f"{probe.valid_to_c:g} °C: its curve is carried on to there, and nothing may rest on the probe there."
        for point in points
        if not probe.covers(point.reference_c)
    )


def next_words(points: Sequence[CertifiedProbePoint]) -> str:
    """What to do after a check."""
    off = [point for point in points if abs(point.error_k) > point.expanded_u_k]
    verdicts = {point.verdict for point in points}
    again = " and ".join(
        "make the ice anew" if point.where == "ice point" else "let the water boil afresh" for point in off
    )
    if Verdict.OUT_OF_TOLERANCE in verdicts or (off and None in verdicts):
        return (
            f"{_sentence(again or 'read it with a surer meter')}, look at plug and cable, and read again. "
            "If it stays off, mark the probe as failed in the register and have it calibrated: until then "
            "nothing may rest on it."
        )
    if Verdict.NOT_DECIDED in verdicts:
        return (
            "The limit lies inside the uncertainty. Read it with a surer meter, and boiling with a barometer "
            "beside it, to decide."
        )
    if off:
        return (
            f"It is within its limit, and surely off all the same. {_sentence(again)} and read again; if it "
            "is so, have it calibrated soon: its history shows whether it drifts."
        )
    return (
        "Read it again in some months, and after a fall or a kink of its cable: the history shows a drift "
        "before it matters."
    )


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def _citations(settings: ProbeCheckSettings, run: int) -> tuple[str, ...]:
    cited = settings.cited
    read = {"ice": settings.ice_ohm, "boiling": settings.boiling_ohm}
    is_typed = any(ohm is not None and where not in cited for where, ohm in read.items())
    typed = (f"what was typed in run {run:04d}",) if is_typed else ()
    return (*(one.words() for one in cited.values()), *typed)


def _conditions(settings: ProbeCheckSettings) -> tuple[tuple[str, str], ...]:
    said = []
    if settings.ice_ohm is not None:
        said.append(("ice", "crushed ice of clean water and water, stirred, drained and topped up"))
    if settings.boiling_ohm is not None and settings.pressure_kpa is not None:
        said.append(
            ("pressure", f"{10.0 * settings.pressure_kpa:.1f} hPa at the bench, not reduced to the sea")
        )
    elif settings.boiling_ohm is not None:
        said.append(("pressure", f"not read: altitude {settings.altitude_m:g} m and any weather"))
    said.extend(
        (f"resistance, {where}", f"read by {one.station} on its own channel, parts as bought")
        for where, one in settings.cited.items()
    )
    return tuple(said)


class ProbeChecks:
    """Probe checks of one store."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def conclude(self, settings: ProbeCheckSettings, *, shop: Shop, today: date) -> int:
        """Keep a check as a run and let its certificate out, or keep its draft; the run's number.

        Raises
        ------
        DeskError
            If nothing was read, or a fixed point cannot be given.
        """
        try:
            points_of(settings)
        except CalibrationError as error:
            raise DeskError(str(error)) from error
        run = self._store.runs.create(
            station=None,
            kind=RunKind.PROBE_CHECK,
            settings=settings.as_json(),
            same_within_s=SENT_TWICE_WITHIN_S,
        )
        self._store.runs.append(run, Kind.STARTED, {"settings": settings.as_json()}, after=0)
        let_out(
            self._store,
            run,
            lambda number: probe_certificate(settings, run=run, number=number, shop=shop, today=today),
            measured_by=settings.operator,
            event=EventAfter(kind=Kind.RESULT, after=1),
        )
        self._store.runs.end(run)
        return run

    def settings(self, run: int) -> ProbeCheckSettings:
        """What was read in a check.

        Raises
        ------
        DeskError
            If there is none of that number.
        """
        return settings_in(events_of_kind(self._store, run, RunKind.PROBE_CHECK, what="probe check"))

    def history(self) -> list[tuple[int, float, ProbeCheckSettings]]:
        """Number, time and readings of every check, the newest first. [s]"""
        return [
            (run.number, run.started_utc_s, ProbeCheckSettings.from_json(run.settings))
            for run in reversed(self._store.runs.of_kind(RunKind.PROBE_CHECK))
        ]


def settings_in(events: Iterable[Event]) -> ProbeCheckSettings:
    """Settings that stand in the first event of a run."""
    return ProbeCheckSettings.from_json(next(iter(events)).payload["settings"])
