"""The shape of a verdict: ● in tolerance, ◆ out of tolerance, ◐ not decided."""

from calibration.conformity import Verdict

#: As text, for pages and paper.
SHAPES = {
    Verdict.IN_TOLERANCE: "●",
    Verdict.OUT_OF_TOLERANCE: "◆",
    Verdict.NOT_DECIDED: "◐",
}


def shape_svg(verdict: Verdict, *, x: float, y: float, radius: float, line: str, ground: str) -> str:
    """The shape as an SVG fragment around a centre.

    Parameters
    ----------
    verdict : Verdict
    x, y, radius : float
        Centre and half size. [px]
    line, ground : str
        Colour of the shape and of its white half.
    """
    if verdict is Verdict.OUT_OF_TOLERANCE:
        reach = radius * 1.25
        return (
            f'<path d="M{x:.1f} {y - reach:.1f}L{x + reach:.1f} {y:.1f}L{x:.1f} {y + reach:.1f}'
            f'L{x - reach:.1f} {y:.1f}Z" fill="{line}"/>'
        )
    circle = f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}"'
    if verdict is Verdict.IN_TOLERANCE:
        return f'{circle} fill="{line}"/>'
    left_half = f"M{x:.1f} {y - radius:.1f}A{radius:.1f} {radius:.1f} 0 0 0 {x:.1f} {y + radius:.1f}Z"
    return f'{circle} fill="{ground}" stroke="{line}"/><path d="{left_half}" fill="{line}"/>'
