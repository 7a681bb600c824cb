"""The shape of a verdict: ● in tolerance, ◆ out of tolerance, ◐ not decided.

Of a station in a round: ● agrees, ◆ does not agree.
"""

from collections.abc import Mapping

from calibration.conformity import Verdict
from calibration.station_round import Agreement

#: As text, for pages and paper.
SHAPES: Mapping[Verdict | Agreement, str] = {
    Verdict.IN_TOLERANCE: "●",
    Verdict.OUT_OF_TOLERANCE: "◆",
    Verdict.NOT_DECIDED: "◐",
    Agreement.AGREES: "●",
    Agreement.DOES_NOT_AGREE: "◆",
}


def shape_svg(
    verdict: Verdict | Agreement, *, x: float, y: float, radius: float, line: str, ground: str
) -> str:
    """The shape as an SVG fragment around a centre.

    Parameters
    ----------
    verdict : Verdict or Agreement
    x, y, radius : float
        Centre and half size. [px]
    line, ground : str
        Colour of the shape and of its white half.
    """
    if SHAPES[verdict] == "◆":
        reach = radius * 1.25
        return (
            f'<path d="M{x:.1f} {y - reach:.1f}L{x + reach:.1f} {y:.1f}L{x:.1f} {y + reach:.1f}'
            f'L{x - reach:.1f} {y:.1f}Z" fill="{line}"/>'
        )
    circle = f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}"'
    if SHAPES[verdict] == "●":
        return f'{circle} fill="{line}"/>'
    left_half = f"M{x:.1f} {y - radius:.1f}A{radius:.1f} {radius:.1f} 0 0 0 {x:.1f} {y + radius:.1f}Z"
    return f'{circle} fill="{ground}" stroke="{line}"/><path d="{left_half}" fill="{line}"/>'
