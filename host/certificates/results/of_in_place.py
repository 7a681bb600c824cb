"""What was read on the vehicle, as tables and a strip."""

from calibration.vehicle.in_place import Thermostat, Where, allowance_words
from host.certificates.bodies.in_place import InPlaceBody
from host.certificates.reported import reported_texts
from host.certificates.results.results import (
    Column,
    Results,
    ResultTable,
    Role,
    Section,
    Strip,
    texts_of,
)

RECORD_LINE = (
    "This is a record of what was read on the vehicle and of what follows from it. It is no calibration "
    "certificate: widths and allowances are assumed, and no maker's limit stands behind them."
)
STRIP_WORDS = (
    "What each reading allows for the coolant at the sensor, in °C: its U and what is assumed beside it. "
    "Bars that overlap agree, a gap is a disagreement; its number is the distance of the middles."
)
_K = 2.0


def in_place_results(body: InPlaceBody) -> Results:
    """What was read on the vehicle."""
    return Results(
        measurand="Readings of the coolant temperature on the vehicle",
        tables=(_readings(body), *_findings(body)),
        strips=(Strip.of_witnesses("the coolant", body.witnesses, None),) if body.witnesses else (),
        strips_words=STRIP_WORDS,
        facts=(("Curve", body.curve), ("Thermostat", body.thermostat)),
        sections=(
            Section(title="What it is", lines=(RECORD_LINE,)),
            Section(title="Found", lines=(body.words, *(finding.words for finding in body.findings))),
            *_gaps(body),
            Section(title="Try next", lines=(body.next_action,)),
        ),
    )


def _readings(body: InPlaceBody) -> ResultTable:
    rows = [dict(reported_texts(point)) for point in body.points]
    return ResultTable(
        title="Readings",
        labels=(
            ("where", tuple(point.where for point in body.points)),
            ("how", tuple(point.words for point in body.points)),
        ),
        columns=(
            Column(
                key="reading",
                name="reading",
                unit="°C",
                role=Role.SHOWN,
                texts=texts_of(rows, "temperature_c"),
                values=tuple(point.temperature_c for point in body.points),
                expanded_u=tuple(point.expanded_u_k for point in body.points),
                u_texts=texts_of(rows, "expanded_u_k"),
                prints_u=True,
            ),
        ),
        k=(_K,) * len(body.points),
        verdicts=(None,) * len(body.points),
        note=_assumed(body),
    )


def _assumed(body: InPlaceBody) -> str:
    """What is assumed of the places that were read, where the reader first meets it."""
    thermostat = next((one for one in Thermostat if one.value == body.thermostat), Thermostat.UNKNOWN)
    read = {point.where for point in body.points}
    said = [words for where in Where if where.value in read and (words := allowance_words(where, thermostat))]
    return f"Beside U it is assumed that {'; '.join(said)}." if said else ""


def _findings(body: InPlaceBody) -> tuple[ResultTable, ...]:
    if not body.findings:
        return ()
    rows = [dict(reported_texts(finding)) for finding in body.findings]
    return (
        ResultTable(
            title="Parts, by the decade box",
            labels=(("part", tuple(finding.part for finding in body.findings)),),
            columns=(
                Column(
                    key="adds",
                    name="adds",
                    unit="K",
                    role=Role.ERROR,
                    texts=texts_of(rows, "size_k"),
                    values=tuple(finding.size_k for finding in body.findings),
                    expanded_u=tuple(finding.expanded_u_k for finding in body.findings),
                    u_texts=texts_of(rows, "expanded_u_k"),
                    prints_u=True,
                ),
                Column(
                    key="allowance",
                    name="may add",
                    unit="K",
                    role=Role.LIMIT,
                    texts=texts_of(rows, "allowance_k"),
                    values=tuple(finding.allowance_k for finding in body.findings),
                ),
            ),
            k=(_K,) * len(body.findings),
            verdicts=tuple(finding.verdict for finding in body.findings),
            note="What a part may add and still be called sound is assumed.",
        ),
    )


def _gaps(body: InPlaceBody) -> tuple[Section, ...]:
    lines = tuple(
        f"The {gap.high} says {texts['gap_k']} K ± {texts['expanded_u_k']} K more than the {gap.low} allows: "
        f"{gap.rule}."
        for gap in body.gaps
        for texts in (reported_texts(gap),)
    )
    return (Section(title="Disagree", lines=lines),) if lines else ()
