"""The agreement strip: who says which temperature, how surely, and whether they agree.

One horizontal axis, of temperature or of what else is compared. Each witness is a bar as long as
its expanded uncertainty with a tick at its value, its name at the left and its number at the
end. The first witness is the reference; where another's bar does not reach the reference's, the
distance between the two values is drawn and printed.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from xml.sax.saxutils import escape

from calibration.conformity import Verdict
from calibration.rounding import decimals_of, rounded_text
from calibration.station_round import Agreement
from calibration.temperature_scale import FAHRENHEIT_PER_K
from host.certificates.certificate import Witness
from host.certificates.results.results import StripBar, bars_of
from host.pictures.ink import Ink, Surface, ink_for
from host.pictures.verdict_shape import shape_svg

ROW_PX = 21.0
TOP_PX = 5.0
AXIS_PX = 25.0
LETTER_PX = 11.5
SMALL_PX = 10.0
MOST_TICKS = 6
#: How far a number of the axis may reach beyond its end, where the unit stands. [px]
_CLEAR_OF_UNIT_PX = 4.0
_WIDE = frozenset("mwMW@%—ЖШЩЮЫ")
_NARROW = frozenset("iljtfrI.,:;'|!()[] -")


#: How much wider bold letters run.
_BOLD = 1.1
#: Unit of a bar: unit of a gap, and factor and offset to degrees Fahrenheit where it has those.
_GAP_UNITS = {"°C": "K"}
_TO_FAHRENHEIT = {"°C": (FAHRENHEIT_PER_K, 32.0), "K": (FAHRENHEIT_PER_K, 0.0)}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bar:
    """A witness in the unit of the picture."""

    name: str
    value: float
    half: float
    text: str
    agreement: Agreement | None
    difference: float | None

    @property
    def low(self) -> float:
        return self.value - self.half

    @property
    def high(self) -> float:
        return self.value + self.half

    @property
    def is_not_told(self) -> bool:
        """It was held against something, and that it lies by it would say nothing."""
        return self.agreement is None and self.difference is not None

    def held_against(self, reference: "_Bar") -> "_Bar":
        """What its difference was taken from: the reference, or others that have no bar of their own."""
        if self.difference is None or self._is_from(reference):
            return reference
        # Their own U is not drawn: the digits of the gap, and whether it shows, go by the station's.
        return replace(reference, name="the others", value=self.value - self.difference, half=self.half)

    def _is_from(self, reference: "_Bar") -> bool:
        return math.isclose(self.value - (self.difference or 0.0), reference.value, abs_tol=1e-6 * self.half)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Frame:
    """Where temperatures lie on the picture."""

    start: float
    span: float
    left_px: float
    right_px: float

    def x(self, value: float) -> float:
        return self.left_px + (value - self.start) / self.span * (self.right_px - self.left_px)


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
    """One strip as SVG text, the same for the same arguments.

    Parameters
    ----------
    witnesses : sequence of Witness
        The reference first, the sender last.
    verdict : Verdict, optional
        Its shape stands at the last witness's value in place of the tick.
    surface : Surface
        ``PAPER`` has fixed colours; ``PAGE`` takes ``currentColor`` and the page's variables
        ``--picture-soft``, ``--picture-faint``, ``--picture-reference``, ``--picture-ground``.
        No style attribute is used, so that a strict content policy lets it pass.
    title : str
        Said by a screen reader before the numbers.
    width_px : float
        Width of the view box, at least 260. [px]
    span_k : float, optional
        Length of the axis, so that strips beside each other share one scale; widened where the
        bars need more. See `strip_span_k`. [K]
    fahrenheit : bool
        Draw and print in °F.

    Raises
    ------
    ValueError
        If there is no witness, an uncertainty is not positive, or the width leaves no room.
    """
    return strip_svg(
        bars_of(witnesses),
        verdict=verdict,
        surface=surface,
        title=title,
        width_px=width_px,
        span=span_k,
        fahrenheit=fahrenheit,
    )


def strip_svg(
    said: Sequence[StripBar],
    *,
    unit: str = "°C",
    verdict: Verdict | None = None,
    surface: Surface = Surface.PAPER,
    title: str = "",
    width_px: float = 440.0,
    span: float | None = None,
    fahrenheit: bool = False,
) -> str:
    """One strip in any unit; arguments and errors as for `agreement_strip_svg`.

    Parameters
    ----------
    said : sequence of StripBar
        The reference first. [unit]
    unit : str
        "°C", "K" for differences, or "Ω".
    span : float, optional
        Length of the axis. See `strip_span`. [unit of a difference]
    """
    if not said:
        raise ValueError("An agreement strip needs at least one witness.")
    if not width_px >= 260.0:
        raise ValueError(f"{width_px:g} px leave no room for a strip: give it 260 px or more.")
    ink = ink_for(surface)
    fahrenheit = fahrenheit and unit in _TO_FAHRENHEIT
    factor = _TO_FAHRENHEIT[unit][0] if fahrenheit else 1.0
    bars = tuple(_bar(bar, unit, fahrenheit=fahrenheit) for bar in said)
    unit = "°F" if fahrenheit else unit
    frame = _frame(bars, (span or 0.0) * factor, width_px, ink, last_is_bold=verdict is not None)
    height = TOP_PX + ROW_PX * len(bars) + AXIS_PX
    rows = "".join(
        _row(bar, bar.held_against(bars[0]), row, frame, ink, unit, verdict if row == len(bars) - 1 else None)
        for row, bar in enumerate(bars)
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width_px:g} {height:g}" width="{width_px:g}"'
        f' height="{height:g}" role="img" font-family="{ink.letters}" font-size="{LETTER_PX:g}"'
        f' fill="{ink.line}">'
        f"<title>{escape(title or 'Agreement strip')}</title>"
        f"<desc>{escape(_said(bars, unit, verdict))}</desc>"
        f"{_axis(bars[0], len(bars), frame, ink, unit)}{rows}</svg>"
    )


def strip_span_k(strips: Sequence[Sequence[Witness]]) -> float:
    """Axis length that holds each of several strips at one scale. [K]"""
    return strip_span([bars_of(strip) for strip in strips])


def strip_span(strips: Sequence[Sequence[StripBar]]) -> float:
    """Axis length that holds each of several strips at one scale. [unit of a difference]"""
    return max(_needed_span(tuple(_bar(bar, "", fahrenheit=False) for bar in strip)) for strip in strips)


def _bar(bar: StripBar, unit: str, *, fahrenheit: bool) -> _Bar:
    factor, offset = _TO_FAHRENHEIT[unit] if fahrenheit else (1.0, 0.0)
    value, half = bar.value * factor + offset, bar.expanded_u * factor
    places = decimals_of(half)
    text = f"{_minus(rounded_text(value, places))} ±{rounded_text(half, places)}"
    return _Bar(
        name=bar.name,
        value=value,
        half=half,
        text=text,
        agreement=bar.agreement,
        difference=None if bar.difference is None else bar.difference * factor,
    )


def _needed_span(bars: Sequence[_Bar]) -> float:
    return (max(bar.high for bar in bars) - min(bar.low for bar in bars)) * 1.12


def _frame(bars: Sequence[_Bar], wanted: float, width_px: float, ink: Ink, *, last_is_bold: bool) -> _Frame:
    span = max(wanted, _needed_span(bars))
    middle = (max(bar.high for bar in bars) + min(bar.low for bar in bars)) / 2.0
    names = min(max(_text_px(bar.name, ink) for bar in bars), 0.3 * width_px)
    bold = [bar.agreement is Agreement.DOES_NOT_AGREE for bar in bars]
    bold[-1] |= last_is_bold
    numbers = max(
        _text_px(bar.text, ink) * (_BOLD if is_bold else 1.0) for bar, is_bold in zip(bars, bold, strict=True)
    )
    return _Frame(
        start=middle - span / 2.0, span=span, left_px=names + 14.0, right_px=width_px - numbers - 12.0
    )


def _row(
    bar: _Bar, reference: _Bar, row: int, frame: _Frame, ink: Ink, unit: str, verdict: Verdict | None
) -> str:
    y = TOP_PX + ROW_PX * (row + 0.5)
    is_sender = row > 0 and (verdict is not None or bar.agreement is Agreement.DOES_NOT_AGREE)
    colour = ink.line if is_sender or row == 0 else ink.soft
    baseline = y + LETTER_PX * 0.34
    shown_name = _shortened(bar.name, frame.left_px - 14.0, ink)
    weight = ' font-weight="bold"' if is_sender else ""
    return (
        f"<g><title>{escape(f'{bar.name} {bar.text} {unit}')}</title>"
        f'<text x="{frame.left_px - 10:.1f}" y="{baseline:.1f}" text-anchor="end"{weight}>'
        f"{escape(shown_name)}</text>"
        f"{_gap(bar, reference, y, frame, ink, unit)}"
        f"{_whisker(bar, y, frame, ink.reference if row == 0 else colour, heavy=row == 0)}"
        f"{_mark(bar, y, frame, ink, colour, verdict)}"
        f'<text x="{frame.right_px + 10:.1f}" y="{baseline:.1f}"{weight}>{escape(bar.text)}</text></g>'
    )


def _whisker(bar: _Bar, y: float, frame: _Frame, colour: str, *, heavy: bool) -> str:
    low, high = frame.x(bar.low), frame.x(bar.high)
    ends = f"M{low:.1f} {y - 4:.1f}V{y + 4:.1f}M{high:.1f} {y - 4:.1f}V{y + 4:.1f}"
    width = 2.6 if heavy else 1.4
    return (
        f'<path d="M{low:.1f} {y:.1f}H{high:.1f}" stroke="{colour}" stroke-width="{width}" fill="none"/>'
        f'<path d="{ends}" stroke="{colour}" stroke-width="1.2" fill="none"/>'
    )


def _mark(bar: _Bar, y: float, frame: _Frame, ink: Ink, colour: str, verdict: Verdict | None) -> str:
    x = frame.x(bar.value)
    shape = verdict or bar.agreement
    if shape is not None:
        return shape_svg(shape, x=x, y=y, radius=4.4, line=ink.line, ground=ink.ground)
    return f'<path d="M{x:.1f} {y - 6:.1f}V{y + 6:.1f}" stroke="{colour}" stroke-width="2.2" fill="none"/>'


def _gap(bar: _Bar, reference: _Bar, y: float, frame: _Frame, ink: Ink, unit: str) -> str:
    if _agree(bar, reference):
        return ""
    text = _gap_text(bar, reference, unit)
    above = bar.value > reference.value
    near, far = frame.x(bar.low if above else bar.high), frame.x(bar.high if above else bar.low)
    start = frame.x(reference.value)
    line = (
        f'<path d="M{start:.1f} {y:.1f}H{near:.1f}" stroke="{ink.soft}" stroke-width="0.8"'
        ' stroke-dasharray="2 2" fill="none"/>'
        if not _overlap(bar, reference)
        else ""
    )
    width = _text_px(text, ink) * SMALL_PX / LETTER_PX
    if line and abs(near - start) >= width + 6.0:
        x, anchor, baseline = (near + start) / 2.0, "middle", y - 2.6
    else:
        outside_right = max(frame.x(bar.high), start) + 6.0
        fits = outside_right + width <= frame.right_px + 4.0
        x, anchor = (outside_right, "start") if fits else (min(start, near, far) - 6.0, "end")
        baseline = y + SMALL_PX * 0.34
    return (
        f'{line}<text x="{x:.1f}" y="{baseline:.1f}" text-anchor="{anchor}" font-size="{SMALL_PX:g}"'
        f' fill="{ink.line}">{text}</text>'
    )


def _agree(bar: _Bar, reference: _Bar) -> bool:
    """As it was worked out; else by whether the bars overlap, which is a little kinder than an En number."""
    if bar.is_not_told:
        return True
    if bar.agreement is not None:
        return bar.agreement is Agreement.AGREES
    return _overlap(bar, reference)


def _overlap(bar: _Bar, reference: _Bar) -> bool:
    return bar.low <= reference.high and reference.low <= bar.high


def _gap_text(bar: _Bar, reference: _Bar, unit: str) -> str:
    places = decimals_of(math.hypot(bar.half, reference.half))
    difference = bar.value - reference.value if bar.difference is None else bar.difference
    size = rounded_text(abs(difference), places)
    return f"{size} {_GAP_UNITS.get(unit, unit)}"


def _axis(reference: _Bar, rows: int, frame: _Frame, ink: Ink, unit: str) -> str:
    y = TOP_PX + ROW_PX * rows + 3.0
    step = _tick_step(frame, ink)
    places = _places(step)
    first = math.ceil(frame.start / step - 1e-9)
    last = math.floor((frame.start + frame.span) / step + 1e-9)
    marks, numbers = [], []
    for count in range(first, last + 1):
        x = frame.x(count * step)
        marks.append(f"M{x:.1f} {y:.1f}v4")
        if x + 0.5 * _number_px(count * step, places, ink) > frame.right_px + _CLEAR_OF_UNIT_PX:
            continue
        numbers.append(
            f'<text x="{x:.1f}" y="{y + 15:.1f}" text-anchor="middle">'
            f"{_minus(rounded_text(count * step, places))}</text>"
        )
    guide = frame.x(reference.value)
    return (
        f'<path d="M{guide:.1f} {TOP_PX:.1f}V{y:.1f}" stroke="{ink.faint}" stroke-width="0.9" fill="none"/>'
        f'<path d="M{frame.left_px:.1f} {y:.1f}H{frame.right_px:.1f}{"".join(marks)}" stroke="{ink.soft}"'
        ' stroke-width="0.8" fill="none"/>'
        f'<g font-size="{SMALL_PX:g}" fill="{ink.soft}">{"".join(numbers)}'
        f'<text x="{frame.right_px + 10:.1f}" y="{y + 15:.1f}">{unit}</text></g>'
    )


def _tick_step(frame: _Frame, ink: Ink) -> float:
    """Step of 1, 2 or 5 whose numbers stand clear of each other."""
    rough = frame.span / MOST_TICKS
    power = 10.0 ** math.floor(math.log10(rough))
    largest = max(abs(frame.start), abs(frame.start + frame.span))
    for factor in (1.0, 2.0, 5.0, 10.0, 20.0, 50.0):
        step = power * factor
        number_px = _number_px(largest, _places(step), ink)
        if step >= rough * 0.999 and frame.x(step) - frame.x(0.0) >= number_px + 4.0:
            break
    return step


def _number_px(number: float, places: int, ink: Ink) -> float:
    return _text_px(_minus(rounded_text(number, places)), ink) * SMALL_PX / LETTER_PX


def _minus(digits: str) -> str:
    return digits.replace("-", "−")


def _places(step: float) -> int:
    return max(0, -math.floor(math.log10(step) + 1e-9))


def _said(bars: Sequence[_Bar], unit: str, verdict: Verdict | None) -> str:
    reference = bars[0]
    sentences = [f"{bar.name} {bar.text} {unit}" for bar in bars]
    for row, bar in enumerate(bars[1:], start=1):
        against = bar.held_against(reference)
        if bar.is_not_told:
            sentences[row] += f", whether it agrees with {against.name} cannot be told"
        elif _agree(bar, against):
            sentences[row] += f", agrees with {against.name}"
        else:
            side = "above" if bar.value > against.value else "below"
            sentences[row] += f", {_gap_text(bar, against, unit)} {side} {against.name}"
    if verdict is not None:
        sentences[-1] += f", {verdict.words}"
    return "; ".join(sentences) + "."


def _text_px(text: str, ink: Ink) -> float:
    ems = sum(0.95 if letter in _WIDE else 0.33 if letter in _NARROW else 0.56 for letter in text)
    return LETTER_PX * ink.letter_width * ems


def _shortened(text: str, room_px: float, ink: Ink) -> str:
    if _text_px(text, ink) <= room_px + 1.0:
        return text
    kept = text
    while kept and _text_px(kept + "…", ink) > room_px:
        kept = kept[:-1]
    return kept.rstrip() + "…"
