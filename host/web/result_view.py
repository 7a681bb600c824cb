"""A result as the page shows it, made from the issued data alone."""

from dataclasses import dataclass

from markupsafe import Markup

from calibration.conformity import Verdict
from calibration.curves import ReferenceCurve
from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.rounding import two_digits
from host.certificates.canonical import certificate_from_canonical
from host.certificates.certificate import Certificate, CertifiedPoint
from host.certificates.chosen_curve import CURVE_CHOSEN, is_curve_chosen
from host.certificates.printed import (
    PrintedPoint,
    degrees_of_freedom_text,
    estimate_text,
    printed_found,
    printed_point,
)
from host.pictures.agreement_strip import strip_span_k
from host.store.certificates import IssuedFiles
from host.store.drafts import DraftFiles
from host.web.in_vehicle_view import InVehicleRow, in_vehicle_rows
from host.web.scale import Scale, in_both_scales
from host.web.strips import on_this_page, result_strip

#: What to do next, by verdict: common sense of the trade, no measurement.
NEXT_ACTION = {
    Verdict.IN_TOLERANCE: "Nothing is to be done to this sender. Where the reading in the vehicle is still "
    "wrong, look at the connector, the wiring and the ground, then at the computer or the gauge.",
    Verdict.OUT_OF_TOLERANCE: "Look at the terminals: clean and dry them and check it again, as left. If it "
    "stays out, the sender is at fault or is not the part this curve belongs to: compare, then replace it.",
    Verdict.NOT_DECIDED: "The error lies too near the limit for this bench to tell. Check it again with "
    "steadier water and the sender deeper in it, or judge it by a limit that this bench can resolve.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetRow:
    """One line of a budget, in characters."""

    quantity: str
    estimate: str
    standard_u: str
    distribution: str
    degrees_of_freedom: str
    contribution_k: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PointView:
    """One temperature: in words, its strip, its row of numbers, its budget."""

    where: str
    verdict: Verdict
    printed: PrintedPoint
    strip: Markup
    budget: tuple[BudgetRow, ...]
    combined_u_k: str
    degrees_of_freedom: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundRow:
    """One temperature as found and as left, in characters."""

    where: str
    found_k: str
    found_u_k: str
    found_verdict: Verdict
    left_k: str
    left_u_k: str
    left_verdict: Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class ResultView:
    """A certificate as a page."""

    certificate: Certificate
    sentence: str
    next_action: str
    points: tuple[PointView, ...]
    chart: Markup
    in_vehicle: tuple[InVehicleRow, ...]
    found: tuple[FoundRow, ...]
    curve_chosen: str


def result_view_of(
    files: IssuedFiles | DraftFiles,
    scale: Scale,
    *,
    curve: ReferenceCurve | None = None,
    box: DecadeBoxCertificate | None = None,
) -> ResultView:
    """Page of a certificate, issued or a draft.

    Parameters
    ----------
    files : IssuedFiles or DraftFiles
    scale : Scale
    curve : ReferenceCurve, optional
        The one it was judged against, for what the computer would show.
    box : DecadeBoxCertificate, optional
        The bench's box, for what to dial.
    """
    certificate = certificate_from_canonical(files.canonical_json)
    strips = [point.witnesses for point in certificate.points if point.witnesses]
    span_k = strip_span_k(strips) if strips else 1.0
    return ResultView(
        certificate=certificate,
        sentence=in_both_scales(certificate.sentence, scale),
        next_action=_next_action(certificate),
        points=tuple(_point(point, scale, span_k) for point in certificate.points),
        chart=on_this_page(files.chart_svg),
        in_vehicle=()
        if curve is None or box is None
        else in_vehicle_rows(certificate.points, curve, box, scale),
        found=_found_rows(certificate, scale),
        curve_chosen=dict(certificate.conditions).get(CURVE_CHOSEN, ""),
    )


_ONCE_CHOSEN = (
    "Look up in the vehicle’s service manual which curve its computer expects. If it is this one, the manual "
    "and not the fit speaks for it: start with it when you check the next such sender. If it is another, "
    "this is the wrong part, however well it fits here."
)


def _next_action(certificate: Certificate) -> str:
    if is_curve_chosen(certificate) and certificate.verdict is Verdict.NOT_DECIDED:
        return _ONCE_CHOSEN
    if certificate.verdict is Verdict.IN_TOLERANCE and certificate.opinions:
        return "Its curve is within limits all the same: do what is said above, then check it again, as left."
    if certificate.verdict is Verdict.NOT_DECIDED and all(
        point.verdict is Verdict.IN_TOLERANCE for point in certificate.points
    ):
        return "It could not be read everywhere: do what is said above, then check it again."
    return NEXT_ACTION[certificate.verdict]


def _found_rows(certificate: Certificate, scale: Scale) -> tuple[FoundRow, ...]:
    """Each point as found beside the nearest as left."""
    if certificate.as_found is None:
        return ()
    rows = []
    for found in certificate.as_found.points:
        left = min(certificate.points, key=lambda point: abs(point.temperature_c - found.temperature_c))
        was, now = printed_found(found), printed_point(left)
        rows.append(
            FoundRow(
                where=in_both_scales(f"{left.temperature_c:.0f} °C", scale),
                found_k=was.error_k.replace("-", "−"),
                found_u_k=was.expanded_u_k,
                found_verdict=found.verdict,
                left_k=now.error_k.replace("-", "−"),
                left_u_k=now.expanded_u_k,
                left_verdict=left.verdict,
            )
        )
    return tuple(rows)


def _point(point: CertifiedPoint, scale: Scale, span_k: float) -> PointView:
    printed = printed_point(point)
    where = in_both_scales(f"{point.temperature_c:.1f} °C", scale)
    return PointView(
        where=where,
        verdict=point.verdict,
        printed=printed,
        strip=result_strip(point, scale, span_k=span_k, title=f"Agreement at {where}"),
        budget=tuple(
            BudgetRow(
                quantity=line.quantity,
                estimate=f"{estimate_text(line)} {line.unit}",
                standard_u=f"{two_digits(line.standard_u)} {line.unit}",
                distribution=line.distribution.value,
                degrees_of_freedom=degrees_of_freedom_text(line.degrees_of_freedom),
                contribution_k=two_digits(line.contribution),
            )
            for line in point.budget.lines
        ),
        combined_u_k=two_digits(point.budget.standard_u),
        degrees_of_freedom=degrees_of_freedom_text(point.budget.degrees_of_freedom),
    )
