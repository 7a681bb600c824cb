"""A certificate of any kind as a page shows it: the same tables, strips and budgets as on its paper."""

from dataclasses import dataclass

from markupsafe import Markup

from calibration.conformity import Verdict
from calibration.rounding import two_digits
from calibration.station_round import Agreement
from host.certificates.canonical import certificate_from_canonical
from host.certificates.certificate import Certificate
from host.certificates.issue import chart_of
from host.certificates.printable import printable
from host.certificates.printed import degrees_of_freedom_text, estimate_text
from host.certificates.results.by_kind import results_of
from host.certificates.results.error_columns import turned
from host.certificates.results.results import Column, Results, ResultTable, Role, Section, StatedBudget, Strip
from host.pictures.agreement_strip import strip_span, strip_svg
from host.pictures.ink import Surface
from host.store.certificates import IssuedFiles
from host.store.drafts import DraftFiles
from host.web.result_view import BudgetRow
from host.web.scale import Scale, in_both_scales
from host.web.strips import STRIP_WIDTH_PX, on_this_page

#: More columns than this do not fit beside a chart.
_LONG_ROW = 9


@dataclass(frozen=True, slots=True, kw_only=True)
class TableView:
    """A table of results: heads, rows of cells, and each row's verdict.

    A head or cell is a text and its sort: ``word``, ``other-scale`` (the same in °F), ``left-out`` (k, and
    the U of what is not the error), or none for a number. A narrow screen shows neither of the middle two.
    """

    title: str
    heads: tuple[tuple[str, str], ...]
    rows: tuple[tuple[tuple[tuple[str, str], ...], Verdict | Agreement | None], ...]
    note: str
    has_verdicts: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class StripView:
    """A strip and what stands above it."""

    title: str
    picture: Markup
    verdict: Verdict | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetView:
    """Budget of one result."""

    title: str
    rows: tuple[BudgetRow, ...]
    unit: str
    combined: str
    degrees_of_freedom: str
    k: str
    expanded_u: str


@dataclass(frozen=True, slots=True, kw_only=True)
class KindResultView:
    """A certificate as a page."""

    certificate: Certificate
    sentence: str
    tables: tuple[TableView, ...]
    strips: tuple[StripView, ...]
    budgets: tuple[BudgetView, ...]
    sections: tuple[Section, ...]
    chart: Markup
    in_kelvin: bool

    @property
    def has_long_rows(self) -> bool:
        """Whether a table wants the whole width of the page, and the chart a place below it."""
        return any(len(table.heads) > _LONG_ROW for table in self.tables)


def kind_result_view_of(files: IssuedFiles | DraftFiles, scale: Scale) -> KindResultView:
    """Page of a certificate or its draft, made from their data alone."""
    certificate = certificate_from_canonical(files.canonical_json)
    return view_of_certificate(certificate, files.chart_svg, scale)


def view_without_paper(certificate: Certificate, scale: Scale) -> KindResultView:
    """Page of what was found where no paper of it was made yet."""
    chart_svg = chart_of(results_of(printable(certificate))).encode("utf-8")
    return view_of_certificate(certificate, chart_svg, scale)


def view_of_certificate(certificate: Certificate, chart_svg: bytes, scale: Scale) -> KindResultView:
    """Page of a certificate and its chart."""
    results = results_of(printable(certificate))
    return KindResultView(
        certificate=certificate,
        sentence=in_both_scales(certificate.sentence, scale),
        tables=table_views(results),
        strips=strip_views(results, scale),
        budgets=tuple(_budget(stated, scale) for stated in results.budgets),
        sections=results.sections,
        in_kelvin=any(column.unit in ("°C", "K") for table in results.tables for column in table.columns),
        chart=on_this_page(chart_svg) if chart_svg else Markup(""),
    )


def table_views(results: Results, *, with_corrections: bool = True) -> tuple[TableView, ...]:
    """Tables of results that may not be on any paper yet, an error's correction beside it where wanted."""
    return tuple(_table(table, with_corrections) for table in results.tables)


def tables_of_paper(certificate: Certificate) -> tuple[TableView, ...]:
    """Tables of a certificate or a draft with what its paper says and nothing beside it."""
    return table_views(results_of(printable(certificate)), with_corrections=False)


def _table(table: ResultTable, with_corrections: bool) -> TableView:
    adds_correction = with_corrections and all(column.key != "correction" for column in table.columns)
    columns: list[tuple[str, tuple[str, ...], str]] = [(name, texts, "word") for name, texts in table.labels]
    for column in table.columns:
        sort = "other-scale" if column.unit == "°F" else ""
        columns.append((_head(column), tuple(text.replace("-", "−") for text in column.texts), sort))
        if column.prints_u:
            sort_of_u = "" if column.role is Role.ERROR else "left-out"
            columns.append(
                (
                    f"U {'K' if column.unit == '°C' else column.unit}",
                    column.u_texts,
                    sort_of_u,
                )
            )
        if adds_correction and column.key == "error" and column.unit == "K":
            corrections = tuple(turned(text).replace("-", "−") for text in column.texts)
            columns.append(("correction K", corrections, ""))
    columns.append(("k", tuple(f"{k:.2f}" for k in table.k), "left-out"))
    rows = tuple(
        (tuple((texts[row] if row < len(texts) else "", sort) for _, texts, sort in columns), verdict)
        for row, verdict in enumerate(table.verdicts)
    )
    return TableView(
        title=table.title,
        heads=tuple((head, sort) for head, _, sort in columns),
        rows=rows,
        note=table.note,
        has_verdicts=any(table.verdicts),
    )


def _head(column: Column) -> str:
    return f"{column.name} {column.unit}".strip()


def strip_views(results: Results, scale: Scale) -> tuple[StripView, ...]:
    """Strips of results, all at one scale."""
    drawn = [strip for strip in results.strips if strip.bars]
    if not drawn:
        return ()
    span = strip_span([strip.bars for strip in drawn])
    return tuple(_strip(strip, scale, span) for strip in drawn)


def _strip(strip: Strip, scale: Scale, span: float) -> StripView:
    title = in_both_scales(strip.title, scale)
    picture = strip_svg(
        strip.bars,
        unit=strip.unit,
        verdict=strip.verdict,
        surface=Surface.PAGE,
        title=f"Agreement at {title}",
        width_px=STRIP_WIDTH_PX,
        span=span,
        fahrenheit=scale is Scale.FAHRENHEIT,
    )
    # The picture escapes the names it is given.
    return StripView(title=title, picture=Markup(picture), verdict=strip.verdict)  # noqa: S704


def _budget(stated: StatedBudget, scale: Scale) -> BudgetView:
    budget = stated.budget
    return BudgetView(
        title=in_both_scales(stated.title, scale),
        rows=tuple(
            BudgetRow(
                quantity=line.quantity,
                estimate=f"{estimate_text(line)} {line.unit}",
                standard_u=f"{two_digits(line.standard_u)} {line.unit}",
                distribution=line.distribution.value,
                degrees_of_freedom=degrees_of_freedom_text(line.degrees_of_freedom),
                contribution_k=two_digits(line.contribution),
            )
            for line in budget.lines
        ),
        unit=budget.unit,
        combined=two_digits(budget.standard_u),
        degrees_of_freedom=degrees_of_freedom_text(budget.degrees_of_freedom),
        k=f"{budget.k:.2f}",
        expanded_u=two_digits(budget.expanded_u),
    )
