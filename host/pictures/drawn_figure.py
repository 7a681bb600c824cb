"""A figure drawn by the drawing library, as SVG without style attributes and in the ink asked for."""

import io
import re
import threading
import warnings
import xml.etree.ElementTree as ET
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from host.pictures.ink import ON_PAPER, Ink, Surface, ink_for

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Size of the letters. [pt]
LETTER_PT = 8.5
#: The drawing library keeps its settings for the whole process, so one picture is drawn at a time.
_DRAWING = threading.Lock()
_SVG = "http://www.w3.org/2000/svg"
_XLINK = "http://www.w3.org/1999/xlink"
#: Letters the drawing library carries itself; it measures with these, the paper prints its own.
_MEASURED_WITH = "STIXGeneral"


def drawn_svg(
    draw: Callable[["Figure"], None],
    *,
    width_in: float,
    height_in: float,
    surface: Surface,
    title: str,
    said: str,
    salt: str,
) -> str:
    """Picture as SVG text; the same drawing gives the same characters.

    Parameters
    ----------
    draw : callable
        Draws into the figure, with the colours of `host.pictures.ink.ON_PAPER`.
    width_in, height_in : float
        Size. [in]
    surface : Surface
        Fixed ink, or the page's own colours.
    title, said : str
        What a screen reader says.
    salt : str
        Tells the marks of this picture from those of another on the same page.
    """
    with _DRAWING:
        drawn = _drawn(draw, width_in, height_in, salt)
    return _plain_svg(drawn, ink_for(surface), title, said)


def _drawn(draw: Callable[["Figure"], None], width_in: float, height_in: float, salt: str) -> str:
    import matplotlib  # late: the import takes over a second
    from matplotlib.figure import Figure

    settings: dict[Any, Any] = {
        "svg.hashsalt": salt,
        "svg.fonttype": "none",
        "font.family": _MEASURED_WITH,
        "font.size": LETTER_PT,
        "axes.unicode_minus": True,
        "lines.scale_dashes": False,
    }
    with matplotlib.rc_context(settings), warnings.catch_warnings():
        # The paper has every letter; what the measuring font lacks is measured as a box.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        figure = Figure(figsize=(width_in, height_in))
        draw(figure)
        text = io.StringIO()
        figure.savefig(text, format="svg", metadata={"Date": None, "Creator": None}, transparent=True)
    return text.getvalue()


def _plain_svg(drawn: str, ink: Ink, title: str, said: str) -> str:
    """The drawing without style attributes, which a strict content policy forbids, in the ink asked for."""
    ET.register_namespace("", _SVG)
    ET.register_namespace("xlink", _XLINK)
    root = ET.fromstring(drawn)
    for parent in root.iter():
        for child in list(parent):
            if child.tag in {f"{{{_SVG}}}metadata", f"{{{_SVG}}}style"}:
                parent.remove(child)
    for element in root.iter():
        _lift_style(element, ink)
    root.set("role", "img")
    root.set("stroke-linejoin", "round")
    root.set("font-family", ink.letters)
    for tag, text in (("desc", said), ("title", title)):
        said_element = ET.Element(f"{{{_SVG}}}{tag}")
        said_element.text = text
        root.insert(0, said_element)
    return ET.tostring(root, encoding="unicode")


def _lift_style(element: Any, ink: Ink) -> None:
    if element.tag == f"{{{_SVG}}}g":
        element.attrib.pop("id", None)
    for declaration in element.attrib.pop("style", "").split(";"):
        name, _, value = declaration.partition(":")
        if name.strip() and name.strip() != "font-family":
            element.set(name.strip(), _in_ink(value.strip(), ink))


def _in_ink(value: str, ink: Ink) -> str:
    if not re.fullmatch(r"#[0-9a-f]{6}", value):
        return value
    names = ("line", "soft", "faint", "band", "reference", "ground")
    return next((getattr(ink, name) for name in names if getattr(ON_PAPER, name) == value), value)
