"""Results of an infrared check as tables and pictures."""

from host.certificates.bodies.infrared import CertifiedShots, InfraredBody
from host.certificates.printed import fahrenheit
from host.certificates.reported import reported_texts
from host.certificates.results.error_columns import correction_column, error_columns, value_column
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
    both_limits,
    part_of_limit,
)
from host.certificates.wrong_statement import wrong_statements

CORRECTION_NOTE = (
    "Expected is what a perfect thermometer with this setting shows of the target; the error is shown minus "
    "expected, and the correction is the error with the other sign."
)

#: Names of its components from memory of the standard.
_OF_THE_TARGET = (
    "As in ASTM E2847. Of the target: calibration temperature; emissivity of the surface (source emissivity)"
    "; surroundings mirrored (reflected ambient radiation); heat exchange of the face (source heat exchange)"
    "; uniformity of the face (source uniformity)"
)
_BY_HAND = "; what is read by hand (calibration temperature)"
_OF_THE_THERMOMETER = (
    "Of the thermometer: size of source; surroundings as believed and temperature of the thermometer itself "
    "(ambient temperature); noise of the shots (noise); resolution (display resolution). What the air takes "
    "off over so short a distance (atmospheric absorption) is assumed to be nothing in this band."
)


def infrared_results(body: InfraredBody) -> Results:
    """Results of an infrared check."""
    points = body.points
    where = [f"{reported_texts(point)['expected_c']} °C" for point in points]
    return Results(
        measurand="Error of indication of an infrared thermometer",
        tables=(_table(points),),
        bars=Bars(
            bars=tuple(_bar(point) for point in points),
            title="Error in K with its uncertainty" + _dashed(points),
            across="expected temperature in °C",
        ),
        strips=tuple(
            Strip.of_witnesses(title, point.witnesses, point.verdict)
            for title, point in zip(where, points, strict=True)
        ),
        budgets=tuple(
            StatedBudget(
                title=title,
                short=title,
                budget=point.budget,
                part_of_limit=part_of_limit(point.error_k, point.expanded_u_k, point.limit_k),
            )
            for title, point in zip(where, points, strict=True)
        ),
        identification=body.serial,
        facts=(
            ("Serial", body.serial),
            ("Emissivity", body.emissivity_setting),
            ("Optics", body.distance_to_spot),
            ("Spot", body.spot),
            ("Band", body.band),
            ("Last digit", body.last_digit),
            ("Accuracy", _makers(body.accuracy)),
            ("Limit", body.limit_words),
        ),
        sections=(
            Section(title="Target", lines=(body.target, body.emissivity_words)),
            Section(title="Lines of the budget", lines=_budget_words(points)),
            Section(title="Shots", lines=tuple(_shots_line(point) for point in points)),
        ),
        wrong=wrong_statements(points, where),
    )


def _budget_words(points: tuple[CertifiedShots, ...]) -> tuple[str, str]:
    """What the lines are called in the standard; of a reading by hand only where there was one."""
    by_hand = any("by hand" in line.quantity for point in points for line in point.budget.lines)
    return f"{_OF_THE_TARGET}{_BY_HAND if by_hand else ''}.", _OF_THE_THERMOMETER


def _makers(accuracy: str) -> str:
    return f"{accuracy}, by its maker" if accuracy.startswith("±") else accuracy


def _dashed(points: tuple[CertifiedShots, ...]) -> str:
    return "; dashed: limits" if any(point.limit_k is not None for point in points) else ""


def _table(points: tuple[CertifiedShots, ...]) -> ResultTable:
    def temperature(field: str, key: str, name: str, role: Role) -> Column:
        return value_column(points, field, key=key, name=name, unit="°C", role=role, u_field="expanded_u_k")

    shown = temperature("shown_c", "shown", "shown", Role.SHOWN)
    error, *limits = error_columns(points, unit_name="k", unit="K")
    return ResultTable(
        title="",
        labels=(),
        columns=(
            temperature("face_c", "face", "target's face", Role.REFERENCE),
            temperature("expected_c", "expected", "expected", Role.REFERENCE),
            shown,
            Column(
                key="shown_f",
                name="",
                unit="°F",
                role=Role.REPEATED,
                texts=tuple(f"{fahrenheit(point.shown_c):.1f}" for point in points),
            ),
            error,
            correction_column(error),
            *limits,
        ),
        k=tuple(point.k for point in points),
        verdicts=tuple(point.verdict for point in points),
        note=CORRECTION_NOTE,
    )


def _shots_line(point: CertifiedShots) -> str:
    texts = reported_texts(point)
    return f"{texts['expected_c']} °C expected: {', '.join(texts['shots_c'])} °C shown"


def _bar(point: CertifiedShots) -> ErrorBar:
    texts = reported_texts(point)
    return ErrorBar(
        at=point.expected_c,
        error=point.error_k,
        expanded_u=point.expanded_u_k,
        limits=both_limits(point.limit_k),
        verdict=point.verdict,
        said=f"At {texts['expected_c']} °C the error is {texts['error_k']} K ± {texts['expanded_u_k']} K.",
    )
