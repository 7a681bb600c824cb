"""Results in ohms as tables and pictures."""

from collections.abc import Sequence

from calibration.conformity import DecisionRule, Verdict
from host.certificates.bodies.ohms import CertifiedOhms, OhmsBody
from host.certificates.bodies.stated_verdict import stated_verdict
from host.certificates.kind import Kind
from host.certificates.reported import derived_numbers, reported_texts
from host.certificates.results.error_columns import error_columns, value_column
from host.certificates.results.results import (
    Bars,
    Column,
    ErrorBar,
    Results,
    ResultTable,
    Role,
    Section,
    StatedBudget,
    part_of_limit,
)
from host.certificates.wrong_statement import wrong_statements

_SHOWN = {Kind.OHMS_CHANNEL: "as left", Kind.RESISTANCE_METER: "shown"}
_NOTES = {
    Kind.OHMS_CHANNEL: (
        "As found is before the correction, as left after it. Box and correction make both uncertain, so U "
        "as found is made of the lines of the budget as left."
    ),
    Kind.DECADE_BOX: "The error is the nominal value minus the true one.",
    Kind.RESISTANCE_METER: "Shown is with the leads taken off; the error is shown minus true.",
}


#: Settings that a note names; the table has them all.
_MOST_PLACES = 4


def ohms_results(body: OhmsBody) -> Results:
    """Results of a resistance channel, a decade box or a resistance meter."""
    points = body.points
    where = [f"{reported_texts(point)['setting_ohm']} Ω, {point.range_words}" for point in points]
    settings = [point.setting_ohm for point in points]
    return Results(
        measurand="Error of a resistance",
        tables=(_table(points, body.kind),),
        bars=_bars(points),
        budgets=tuple(
            StatedBudget(
                title=title,
                short=title if settings.count(point.setting_ohm) > 1 else title.partition(",")[0],
                budget=point.budget,
                part_of_limit=part_of_limit(point.error_ohm, point.expanded_u_ohm, point.limit_ohm),
            )
            for title, point in zip(where, points, strict=True)
        ),
        sections=(Section(title="Correction", lines=body.correction_words),) if body.correction_words else (),
        wrong=wrong_statements(points, where),
    )


def _table(points: tuple[CertifiedOhms, ...], kind: Kind) -> ResultTable:
    channel = kind is Kind.OHMS_CHANNEL
    error, *limit = error_columns(points, unit_name="ohm", unit="Ω")
    true = value_column(
        points, "true_ohm", key="true", name="true", unit="Ω", role=Role.REFERENCE, u_field="expanded_u_ohm"
    )
    return ResultTable(
        title="",
        labels=(("range" if channel else "decade", tuple(point.range_words for point in points)),),
        columns=(
            value_column(
                points, "setting_ohm", key="setting", name="setting", unit="Ω", role=Role.NOMINAL
            ),
            true,
            *(_found(points) if channel else ()),
            *(
                (
                    value_column(
                        points, "shown_ohm", key="shown", name=_SHOWN[kind], unit="Ω", role=Role.SHOWN,
                        u_field="expanded_u_ohm",
                    ),
                )
                if kind in _SHOWN
                else ()
            ),
            error,
            *_in_kelvin(points),
            *limit,
        ),
        k=tuple(point.k for point in points),
        verdicts=tuple(point.verdict for point in points),
        note=" ".join([_NOTES[kind], *(_as_found_words(points) if channel else ())]),
    )  # fmt: skip


def _found(points: tuple[CertifiedOhms, ...]) -> tuple[Column, ...]:
    """Error before the correction, with its expanded uncertainty."""
    if any(point.found_ohm is None for point in points):
        return ()
    derived = [derived_numbers(point)["found_error_ohm"] for point in points]
    uncertain = [derived_numbers(point)["found_expanded_u_ohm"] for point in points]
    return (
        Column(
            key="found_error",
            name="error as found",
            unit="Ω",
            role=Role.SHOWN,
            texts=tuple(text for _, text in derived),
            values=tuple(full for full, _ in derived),
            expanded_u=tuple(full for full, _ in uncertain),
            u_texts=tuple(text for _, text in uncertain),
            prints_u=True,
        ),
    )


def _as_found_words(points: Sequence[CertifiedOhms]) -> tuple[str, ...]:
    """Whether it was within its limit before the correction: whoever used it until then must know."""
    judged = [(point, verdict) for point in points if (verdict := _verdict_as_found(point)) is not None]
    if not judged:
        return ()
    beyond = {
        verdict: [_as_found_at(point) for point, one in judged if one is verdict]
        for verdict in (Verdict.OUT_OF_TOLERANCE, Verdict.NOT_DECIDED)
    }
    words = tuple(f"As found, {verdict.words}: {_listed(at)}." for verdict, at in beyond.items() if at)
    return words or ("As found it was in tolerance too.",)


def _verdict_as_found(point: CertifiedOhms) -> Verdict | None:
    derived = derived_numbers(point)
    if "found_error_ohm" not in derived:
        return None
    return stated_verdict(
        error=derived["found_error_ohm"][0],
        expanded_u=derived["found_expanded_u_ohm"][0],
        limit=point.limit_ohm,
        rule=DecisionRule.GUARDED,
    )


def _as_found_at(point: CertifiedOhms) -> str:
    texts, (_, error) = reported_texts(point), derived_numbers(point)["found_error_ohm"]
    error = error.replace("-", "−")
    return f"{point.range_words} at {texts['setting_ohm']} Ω ({error} Ω, limit {texts['limit_ohm']} Ω)"


def _listed(places: Sequence[str]) -> str:
    more = len(places) - _MOST_PLACES
    return "; ".join(places[:_MOST_PLACES]) + (f"; and at {more} more, see the table" if more > 0 else "")


def _in_kelvin(points: tuple[CertifiedOhms, ...]) -> tuple[Column, ...]:
    """Error and U as a coolant sender would show them, where every point says so."""
    if any(point.k_per_ohm is None for point in points):
        return ()
    names = {"equivalent_error_k": "as sender", "equivalent_expanded_u_k": "U as sender"}
    derived = [derived_numbers(point) for point in points]
    return tuple(
        Column(
            key=key,
            name=name,
            unit="K",
            role=Role.REPEATED,
            texts=tuple(one[key][1] for one in derived),
            values=tuple(one[key][0] for one in derived),
        )
        for key, name in names.items()
    )


def _bars(points: tuple[CertifiedOhms, ...]) -> Bars:
    """Errors over decades: in per cent of their limits, or of the value where there are none."""
    limits = [point.limit_ohm for point in points]
    stated = [limit for limit in limits if limit is not None]
    if len(stated) == len(points):
        units, title = stated, "Error in per cent of its limit; dashed: limits"
    else:
        dashed = "; dashed: limits" if stated else ""
        units, title = [point.true_ohm for point in points], f"Error in per cent of the value{dashed}"
    bars = tuple(_bar(point, 100.0 / unit) for point, unit in zip(points, units, strict=True))
    return Bars(bars=bars, title=title, across="resistance in Ω", is_logarithmic=True)


def _bar(point: CertifiedOhms, scale: float) -> ErrorBar:
    texts = reported_texts(point)
    limit = None if point.limit_ohm is None else point.limit_ohm * scale
    return ErrorBar(
        at=point.true_ohm,
        error=point.error_ohm * scale,
        expanded_u=point.expanded_u_ohm * scale,
        limits=(None, None) if limit is None else (-limit, limit),
        verdict=point.verdict,
        said=f"At {texts['true_ohm']} Ω the error is {texts['error_ohm']} Ω ± {texts['expanded_u_ohm']} Ω.",
    )
