"""Results of a sender check as tables and pictures."""

from collections.abc import Sequence

from calibration.rounding import limit_text
from host.certificates.bodies.sender import SenderBody
from host.certificates.certificate import CertifiedPoint
from host.certificates.printed import fahrenheit, printed_point
from host.certificates.results.error_columns import error_columns, resistance_column, value_column
from host.certificates.results.results import (
    Bars,
    Column,
    ErrorBar,
    Results,
    ResultTable,
    Role,
    Section,
    StatedBudget,
    Strip,
    part_of_limit,
)
from host.certificates.wrong_statement import wrong_statements
from host.pictures.verdict_shape import SHAPES

LIMIT_NOTE = "The limit is the one on the side of the error."


def sender_results(body: SenderBody) -> Results:
    """Results of a sender check."""
    points = body.points
    return Results(
        measurand="Error of the indicated temperature of a coolant temperature sender",
        tables=(_table(points),),
        bars=sender_bars(points),
        strips=tuple(
            Strip.of_witnesses(f"{printed_point(point).temperature_c} °C", point.witnesses, point.verdict)
            for point in points
        ),
        budgets=tuple(
            StatedBudget(
                title=_where(point),
                short=f"{printed_point(point).temperature_c} °C",
                budget=point.budget,
                part_of_limit=part_of_limit(point.error_k, point.expanded_u_k, point.limit_k),
            )
            for point in points
        ),
        facts=(("Curve", body.curve),),
        sections=_sections(body),
        wrong=wrong_statements(points, [f"{printed_point(point).temperature_c} °C" for point in points]),
    )


def sender_bars(points: Sequence[CertifiedPoint]) -> Bars:
    """Errors of a sender over the temperature."""
    return Bars(
        bars=tuple(_bar(point) for point in points),
        title="Error in K with its uncertainty; dashed: limits",
        across="temperature in °C",
    )


def permitted_errors(point: CertifiedPoint) -> tuple[float | None, float | None]:
    """Lowest and highest permitted error; ``None`` on a side the result does not state. [K]"""
    if point.limits_k is not None:
        return point.limits_k
    return (None, point.limit_k) if point.error_k >= 0 else (-point.limit_k, None)


def _where(point: CertifiedPoint) -> str:
    printed = printed_point(point)
    return f"{printed.temperature_c} °C ({printed.temperature_f} °F)"


def _table(points: tuple[CertifiedPoint, ...]) -> ResultTable:
    printed = [printed_point(point) for point in points]
    return ResultTable(
        title="",
        labels=(),
        columns=(
            value_column(
                points, "temperature_c", key="temperature", name="temperature", unit="°C",
                role=Role.REFERENCE, u_field="expanded_u_k",
            ),
            _repeated("temperature", tuple(one.temperature_f for one in printed)),
            resistance_column(points, [one.expanded_u_resistance_ohm for one in printed]),
            value_column(
                points, "indicated_c", key="indicated", name="indicated", unit="°C",
                role=Role.SHOWN, u_field="expanded_u_k",
            ),
            _repeated("indicated", tuple(one.indicated_f for one in printed)),
            *error_columns(points, unit_name="k", unit="K"),
        ),
        k=tuple(point.k for point in points),
        verdicts=tuple(point.verdict for point in points),
        note=LIMIT_NOTE,
    )  # fmt: skip


def _repeated(key: str, texts: tuple[str, ...]) -> Column:
    return Column(key=f"{key}_f", name="", unit="°F", role=Role.REPEATED, texts=texts)


def _bar(point: CertifiedPoint) -> ErrorBar:
    limit = limit_text(point.limit_k, stated_places=2, derived_places=2)
    return ErrorBar(
        at=point.temperature_c,
        error=point.error_k,
        expanded_u=point.expanded_u_k,
        limits=permitted_errors(point),
        verdict=point.verdict,
        said=(
            f"At {point.temperature_c:.1f} °C ({fahrenheit(point.temperature_c):.0f} °F) the error is "
            f"{point.error_k:+.2f} K ± {point.expanded_u_k:.2f} K, limit {limit} K: "
            f"{SHAPES[point.verdict]} {point.verdict.words}."
        ),
    )


def _sections(body: SenderBody) -> tuple[Section, ...]:
    curve = Section(
        title="Reference curve",
        lines=(body.curve, body.curve_source, f"Tolerance: {body.curve_tolerance}"),
    )
    if not body.coefficients:
        return (curve,)
    return curve, Section(title="Fitted curve", lines=(body.fit_words,), coefficients=body.coefficients)
