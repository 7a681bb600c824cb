"""The agreement strip."""

from collections.abc import Sequence

from calibration.conformity import Verdict
from host.certificates.certificate import Witness
from host.pictures.ink import Surface


def agreement_strip_svg(
    witnesses: Sequence[Witness],
    *,
    verdict: Verdict | None = None,
    surface: Surface = Surface.PAPER,
    title: str = "",
    width_px: float = 440.0,
    span_k: float | None = None,
    fahrenheit: bool = False,
) -> str:
    """One strip as an SVG."""
    raise NotImplementedError
