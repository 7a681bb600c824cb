"""Colours of a picture: fixed ink on paper, the page's own variables on a screen."""

from dataclasses import dataclass
from enum import StrEnum


class Surface(StrEnum):
    """What a picture is drawn on."""

    PAPER = "paper"
    PAGE = "page"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ink:
    """Colours by what they are for, and the letters that go with them.

    Attributes
    ----------
    line, soft, faint, band : str
        Text and strong lines; second lines; guides; the filled band of limits.
    reference : str
        Bars of witnesses other than the sender.
    ground : str
        What lies behind: it fills the white half of a shape.
    letters : str
        Font families, best first.
    letter_width : float
        How wide those run against the paper's; room is kept for it.
    """

    line: str
    soft: str
    faint: str
    band: str
    reference: str
    ground: str
    letters: str
    letter_width: float


#: Every colour stands at 7:1 or better on white where it carries text.
ON_PAPER = Ink(
    line="#15181c",
    soft="#4a515b",
    faint="#b9c0c9",
    band="#eceff2",
    reference="#0f4c5c",
    ground="#ffffff",
    letters="Libertinus Serif",
    letter_width=1.0,
)

#: A page sets these variables for its light and dark theme; the fallbacks serve a picture alone.
ON_PAGE = Ink(
    line="currentColor",
    soft="var(--picture-soft, currentColor)",
    faint="var(--picture-faint, #8a929c)",
    band="var(--picture-band, #8a929c33)",
    reference="var(--picture-reference, currentColor)",
    ground="var(--picture-ground, Canvas)",
    letters="system-ui, sans-serif",
    letter_width=1.2,
)


def ink_for(surface: Surface) -> Ink:
    """Ink that suits the surface."""
    return ON_PAPER if surface is Surface.PAPER else ON_PAGE
