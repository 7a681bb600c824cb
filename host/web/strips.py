"""Agreement strips and charts as a page shows them, in the page's own ink."""

import dataclasses
import math
from collections.abc import Sequence

from markupsafe import Markup

from calibration.conformity import Verdict
from host.certificates.certificate import CertifiedPoint, Witness
from host.pictures.agreement_strip import agreement_strip_svg, strip_span_k
from host.pictures.ink import ON_PAGE, ON_PAPER, Surface
from host.web.scale import Scale

#: Narrow enough that the letters keep their size on a phone.
STRIP_WIDTH_PX = 330.0
_LEAST_LIVE_SPAN_K = 2.0


def live_strip(witnesses: Sequence[Witness], scale: Scale) -> Markup:
    """Strip of a bench at work; its axis keeps one length while the bars move."""
    if not witnesses:
        return Markup("")
    span_k = _calm_span_k(strip_span_k([witnesses]))
    return _strip(witnesses, scale, span_k=span_k, title="Agreement strip, live", verdict=None)


def result_strip(point: CertifiedPoint, scale: Scale, *, span_k: float, title: str) -> Markup:
    """Strip of one temperature of a result."""
    return _strip(point.witnesses, scale, span_k=span_k, title=title, verdict=point.verdict)


def on_this_page(svg: bytes) -> Markup:
    """The issued chart itself, its paper ink exchanged for the ink of the page (dark theme)."""
    text = svg.decode("utf-8")
    for field in dataclasses.fields(ON_PAPER):
        ink = getattr(ON_PAPER, field.name)
        if isinstance(ink, str):
            text = text.replace(ink, getattr(ON_PAGE, field.name))
    # Markup of the desk's own store, made by its own drawing code and never by a person.
    return Markup(text[text.index("<svg") :])  # noqa: S704


def _strip(
    witnesses: Sequence[Witness], scale: Scale, *, span_k: float, title: str, verdict: Verdict | None
) -> Markup:
    return Markup(  # noqa: S704  the picture escapes the names it is given
        agreement_strip_svg(
            witnesses,
            verdict=verdict,
            surface=Surface.PAGE,
            title=title,
            width_px=STRIP_WIDTH_PX,
            span_k=span_k,
            fahrenheit=scale is Scale.FAHRENHEIT,
        )
    )


def _calm_span_k(needed_k: float) -> float:
    """Next length of 2, 3, 5, 7, 10, 15, 20, 30, … so that the axis does not breathe."""
    wanted = max(needed_k, _LEAST_LIVE_SPAN_K)
    power = 10.0 ** math.floor(math.log10(wanted))
    return next(step * power for step in (1.0, 1.5, 2.0, 3.0, 5.0, 7.0, 10.0) if step * power >= wanted)
