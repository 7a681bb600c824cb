"""The result chart of a sender: error against temperature, with uncertainty bars and the limits as a band."""

from collections.abc import Sequence

from host.certificates.certificate import CertifiedPoint
from host.certificates.results.of_sender import sender_bars
from host.pictures.error_chart import error_chart_svg
from host.pictures.ink import Surface


def result_chart_svg(
    points: Sequence[CertifiedPoint],
    *,
    surface: Surface = Surface.PAPER,
    width_in: float = 3.5,
    height_in: float = 2.6,
) -> str:
    """Chart as SVG text; the same points give the same characters.

    Parameters
    ----------
    points : sequence of CertifiedPoint
        In any order.
    surface : Surface
        Fixed ink, or the page's own colours (see `host.pictures.ink`).
    width_in, height_in : float
        Size. [in]

    Raises
    ------
    ValueError
        If there is no point.
    """
    return error_chart_svg(sender_bars(points), surface=surface, width_in=width_in, height_in=height_in)
