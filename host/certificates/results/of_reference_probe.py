"""Results of a probe check as tables and pictures."""

from host.certificates.bodies.reference_probe import CertifiedProbePoint, ReferenceProbeBody
from host.certificates.reported import derived_numbers, reported_texts
from host.certificates.results.error_columns import error_columns, resistance_column, value_column
from host.certificates.results.results import (
    Bars,
    ErrorBar,
    Results,
    ResultTable,
    Role,
    Section,
    StatedBudget,
    Strip,
    both_limits,
    part_of_limit,
)
from host.certificates.wrong_statement import wrong_statements

VERIFIED_LINE = (
    "Few points verify or shift a known curve; they give no curve of their own. Between and beyond them the "
    "certificate named here holds."
)


def reference_probe_results(body: ReferenceProbeBody) -> Results:
    """Results of a probe check."""
    points = body.points
    where = [point.where for point in points]
    return Results(
        measurand="Error of a reference probe by its coefficients",
        tables=(_table(points),),
        bars=Bars(
            bars=tuple(_bar(point) for point in points),
            title="Error in K with its uncertainty"
            + ("; dashed: limits" if any(point.limit_k is not None for point in points) else ""),
            across="temperature in °C",
        ),
        strips=tuple(Strip.of_witnesses(point.where, point.witnesses, point.verdict) for point in points),
        budgets=tuple(
            StatedBudget(
                title=f"{point.where}, {reported_texts(point)['reference_c']} °C",
                short=point.where,
                budget=point.budget,
                part_of_limit=part_of_limit(point.error_k, point.expanded_u_k, point.limit_k),
            )
            for point in points
        ),
        sections=(
            Section(
                title="Coefficients",
                lines=(body.coefficients_source, VERIFIED_LINE),
                coefficients=body.coefficients,
            ),
        ),
        wrong=wrong_statements(points, where),
    )


def _table(points: tuple[CertifiedProbePoint, ...]) -> ResultTable:
    u_ohm = [derived_numbers(point)["expanded_u_resistance_ohm"][1] for point in points]
    return ResultTable(
        title="",
        labels=(("where", tuple(point.where for point in points)),),
        columns=(
            value_column(
                points, "reference_c", key="reference", name="reference", unit="°C",
                role=Role.REFERENCE, u_field="expanded_u_k",
            ),
            resistance_column(points, u_ohm),
            value_column(
                points, "shown_c", key="shown", name="probe shows", unit="°C",
                role=Role.SHOWN, u_field="expanded_u_k",
            ),
            *error_columns(points, unit_name="k", unit="K"),
        ),
        k=tuple(point.k for point in points),
        verdicts=tuple(point.verdict for point in points),
    )  # fmt: skip


def _bar(point: CertifiedProbePoint) -> ErrorBar:
    texts = reported_texts(point)
    return ErrorBar(
        at=point.reference_c,
        error=point.error_k,
        expanded_u=point.expanded_u_k,
        limits=both_limits(point.limit_k),
        verdict=point.verdict,
        said=f"At {texts['reference_c']} °C the error is {texts['error_k']} K ± {texts['expanded_u_k']} K.",
    )
