import re
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath

from calibration.conformity import Verdict
from host.certificates.certificate import Witness
from host.pictures.agreement_strip import agreement_strip_svg, strip_span_k
from host.pictures.ink import Surface

SVG = "{http://www.w3.org/2000/svg}"


def witness(name: str, temperature_c: float, expanded_u_k: float) -> Witness:
    return Witness(name=name, temperature_c=temperature_c, expanded_u_k=expanded_u_k)


BATH = (
    witness("contact probe", 89.94, 0.08),
    witness("1-wire witness", 89.8, 0.5),
    witness("infrared", 89.2, 1.4),
    witness("sender shows", 92.1, 0.3),
)


def texts(svg: str) -> list[str]:
    return [element.text or "" for element in ET.fromstring(svg).iter(f"{SVG}text")]


def test_the_bold_numbers_of_a_judged_row_end_inside_the_strip():
    """Letters as DejaVu Sans has them, which Debian's browser takes; measured by matplotlib."""
    told = (witness("contact probe", 30.107, 0.052), witness("sender shows", 29.477, 0.088))
    svg = agreement_strip_svg(told, verdict=Verdict.IN_TOLERANCE, surface=Surface.PAGE, width_px=311.0)
    (number,) = (
        element for element in ET.fromstring(svg).iter(f"{SVG}text") if element.text == "29.477 ±0.088"
    )
    assert number.get("font-weight") == "bold"
    letters = TextPath(
        (0, 0), number.text, size=11.5, prop=FontProperties(family="DejaVu Sans", weight="bold")
    )
    assert float(number.get("x")) + letters.get_extents().x1 <= 311.0


def scale(svg: str) -> tuple[float, float]:
    """Offset [°C] and scale [°C/px] read off the numbers along the axis."""
    marks = [
        (float(element.get("x")), float(element.text.replace("−", "-")))
        for element in ET.fromstring(svg).iter(f"{SVG}text")
        if element.get("text-anchor") == "middle" and re.fullmatch(r"−?[0-9.]+", element.text or "")
    ]
    (first_px, first), (last_px, last) = marks[0], marks[-1]
    per_px = (last - first) / (last_px - first_px)
    return first - first_px * per_px, per_px


def bars(svg: str) -> list[tuple[float, float]]:
    """Left and right end of each witness's bar. [px]"""
    found = re.findall(r'd="M([0-9.-]+) [0-9.]+H([0-9.-]+)" stroke="[^"]*" stroke-width="(?:2.6|1.4)"', svg)
    return [(float(left), float(right)) for left, right in found]


def test_each_bar_read_against_the_axis_is_as_long_as_its_uncertainty():
    svg = agreement_strip_svg(BATH)
    offset, per_px = scale(svg)
    assert len(bars(svg)) == len(BATH)
    for (left, right), one in zip(bars(svg), BATH, strict=True):
        assert offset + left * per_px == pytest.approx(one.temperature_c - one.expanded_u_k, abs=0.02)
        assert offset + right * per_px == pytest.approx(one.temperature_c + one.expanded_u_k, abs=0.02)


def test_each_witness_has_its_name_and_its_number_at_the_end():
    shown = texts(agreement_strip_svg(BATH))
    for words in (
        "contact probe",
        "89.940 ±0.080",
        "infrared",
        "89.2 ±1.4",
        "sender shows",
        "92.10 ±0.30",
        "°C",
    ):
        assert words in shown


def test_the_size_of_a_gap_is_printed_where_the_sender_stands_apart():
    # 92.1 °C against 89.94 °C: 2.16 K, by subtraction.
    assert "2.16 K" in texts(agreement_strip_svg(BATH))
    assert "3.89 °F" in texts(agreement_strip_svg(BATH, fahrenheit=True))


def test_witnesses_that_overlap_have_no_gap():
    assert not [text for text in texts(agreement_strip_svg(BATH[:3])) if text.endswith(" K")]


def test_the_verdict_is_a_shape_and_not_a_colour():
    drawn = {verdict: agreement_strip_svg(BATH, verdict=verdict) for verdict in Verdict}
    shapes = {
        verdict: (svg.count("<circle"), len(re.findall(r'd="M[^"]*Z"', svg)))
        for verdict, svg in drawn.items()
    }
    assert shapes == {
        Verdict.IN_TOLERANCE: (1, 0),
        Verdict.OUT_OF_TOLERANCE: (0, 1),
        Verdict.NOT_DECIDED: (1, 1),
    }


def test_a_screen_reader_hears_who_says_what_and_by_how_much_they_differ():
    root = ET.fromstring(
        agreement_strip_svg(BATH, verdict=Verdict.OUT_OF_TOLERANCE, title="Agreement at 90 °C")
    )
    assert root.get("role") == "img"
    assert root.find(f"{SVG}title").text == "Agreement at 90 °C"
    said = root.find(f"{SVG}desc").text
    assert "1-wire witness 89.80 ±0.50 °C, agrees with contact probe" in said
    assert "sender shows 92.10 ±0.30 °C, 2.16 K above contact probe, out of tolerance" in said


def test_on_a_page_the_strip_takes_the_colours_of_the_page_and_passes_a_strict_content_policy():
    svg = agreement_strip_svg(BATH, verdict=Verdict.NOT_DECIDED, surface=Surface.PAGE)
    assert "currentColor" in svg and "var(--picture-faint" in svg
    for given_to_paper in (svg, agreement_strip_svg(BATH)):
        root = ET.fromstring(given_to_paper)
        assert not [element for element in root.iter() if "style" in element.attrib]
        assert root.find(f".//{SVG}style") is None and root.find(f".//{SVG}script") is None


def test_strips_beside_each_other_can_share_one_scale():
    apart, close = BATH, (witness("contact probe", 25.0, 0.08), witness("sender shows", 25.1, 0.3))
    span_k = strip_span_k([apart, close])
    scales = [
        scale(agreement_strip_svg(strip, span_k=span_k, width_px=500.0))[1] for strip in (apart, apart[:1])
    ]
    assert scales[0] == pytest.approx(scales[1], rel=0.1)
    lone = [right - left for left, right in bars(agreement_strip_svg(close, span_k=span_k))]
    assert lone[1] / lone[0] == pytest.approx(0.3 / 0.08, rel=0.05)


def test_numbers_below_zero_have_a_minus_sign_and_no_number_runs_into_the_unit_of_the_axis():
    # ISO 80000-1 writes the minus sign (U+2212), as the tables beside the strip do.
    cold = (witness("ice point", -0.004, 0.01), witness("probe shows", -0.013, 0.03))
    shown = texts(agreement_strip_svg(cold, width_px=330.0))
    assert "−0.004 ±0.010" in shown and "−0.02" in shown and not any("-" in text for text in shown)
    for start in (40.0, 40.3, 40.6, 41.1):
        svg = agreement_strip_svg((witness("a", start, 0.29), witness("b", start + 0.5, 0.4)), width_px=330.0)
        at = {element.text: float(element.get("x")) for element in ET.fromstring(svg).iter(f"{SVG}text")}
        last_px = max(x for text, x in at.items() if re.fullmatch(r"[0-9.]+", text))
        assert at["°C"] - last_px > 15.0  # half of "41.5" in letters of 10 px, and a blank


def test_hostile_names_stay_text():
    svg = agreement_strip_svg([witness("<script>&\"'</svg>", 20.0, 0.1), witness("x", 20.0, 0.1)])
    assert ET.fromstring(svg).find(f".//{SVG}script") is None


def test_a_long_name_is_shortened_in_the_picture_and_whole_for_the_reader():
    long = "thermometer of the shop next door, borrowed"
    root = ET.fromstring(agreement_strip_svg([witness(long, 20.0, 0.1)], width_px=330.0))
    assert any((element.text or "").endswith("…") for element in root.iter(f"{SVG}text"))
    assert long in root.find(f"{SVG}desc").text


def test_a_strip_of_nobody_or_without_room_is_refused():
    with pytest.raises(ValueError, match="at least one witness"):
        agreement_strip_svg([])
    with pytest.raises(ValueError, match="260 px"):
        agreement_strip_svg(BATH, width_px=100.0)


@given(
    st.lists(
        st.tuples(st.floats(min_value=-40.0, max_value=300.0), st.floats(min_value=0.001, max_value=30.0)),
        min_size=1,
        max_size=6,
    ),
    st.sampled_from([None, *Verdict]),
)
def test_any_strip_is_well_formed_and_keeps_its_bars_inside(readings, verdict):
    strip = [witness(f"witness {at}", value, half) for at, (value, half) in enumerate(readings)]
    svg = agreement_strip_svg(strip, verdict=verdict)
    root = ET.fromstring(svg)
    width = float(root.get("width"))
    assert len(bars(svg)) == len(strip)
    for left, right in bars(svg):
        assert 0.0 < left <= right < width
    assert svg == agreement_strip_svg(strip, verdict=verdict)
