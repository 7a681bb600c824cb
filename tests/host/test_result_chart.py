import dataclasses
import subprocess
import sys
import xml.etree.ElementTree as ET
from concurrent.futures import ThreadPoolExecutor

import pytest

from calibration.conformity import Verdict
from host.certificates.kind import Kind
from host.certificates.results.by_kind import results_of
from host.certificates.results.of_sender import permitted_errors
from host.pictures.error_chart import error_chart_svg
from host.pictures.ink import Surface
from host.pictures.result_chart import result_chart_svg

SVG = "{http://www.w3.org/2000/svg}"


def test_the_same_points_give_the_same_chart_from_any_thread(sample):
    with ThreadPoolExecutor(4) as pool:
        charts = set(pool.map(result_chart_svg, [sample.points] * 8))
    assert len(charts) == 1


def test_the_order_in_which_points_were_taken_does_not_change_the_chart(sample):
    assert result_chart_svg(sample.points[::-1]) == result_chart_svg(sample.points)


def test_drawing_leaves_the_settings_of_the_drawing_library_alone(sample):
    import matplotlib

    before = dict(matplotlib.rcParams)
    result_chart_svg(sample.points)
    assert dict(matplotlib.rcParams) == before


def test_nothing_of_the_drawing_library_is_loaded_before_a_chart_is_drawn():
    program = (
        "import sys, host.pictures.result_chart, host.certificates.pdf; print('matplotlib' in sys.modules)"
    )
    told = subprocess.run([sys.executable, "-c", program], capture_output=True, check=True, text=True)
    assert told.stdout.strip() == "False"


def test_the_chart_passes_a_strict_content_policy_and_names_no_outside_address(sample):
    for surface in Surface:
        root = ET.fromstring(result_chart_svg(sample.points, surface=surface))
        assert not [element for element in root.iter() if "style" in element.attrib]
        assert root.find(f".//{SVG}style") is None
        links = [value for element in root.iter() for name, value in element.attrib.items() if "href" in name]
        assert links and all(link.startswith("#") for link in links)


def test_a_screen_reader_hears_every_point_with_its_verdict(sample):
    said = ET.fromstring(result_chart_svg(sample.points)).find(f"{SVG}desc").text
    assert said.count("in tolerance") == 3
    assert "At 25.0 °C (77 °F)" in said


def test_each_verdict_has_a_mark_of_its_own_shape(sample):
    paths = {
        verdict: {
            element.get("d")
            for element in ET.fromstring(
                result_chart_svg([dataclasses.replace(sample.points[1], verdict=verdict)])
            ).iter(f"{SVG}path")
        }
        for verdict in Verdict
    }
    for verdict in Verdict:
        others = set.union(*(paths[other] for other in Verdict if other is not verdict))
        assert paths[verdict] - others, verdict


def test_on_a_page_no_ink_of_the_paper_is_left(sample):
    page = result_chart_svg(sample.points, surface=Surface.PAGE)
    assert "currentColor" in page
    assert "#15181c" not in page and "#eceff2" not in page


def test_a_limit_known_on_one_side_only_is_drawn_on_that_side(sample):
    low = dataclasses.replace(sample.points[0], limits_k=None, error_k=-0.3, limit_k=1.2)
    assert permitted_errors(low) == (-1.2, None)
    assert permitted_errors(dataclasses.replace(low, error_k=0.3)) == (None, 1.2)
    assert permitted_errors(dataclasses.replace(low, limits_k=(-1.2, 1.5))) == (-1.2, 1.5)


def test_a_chart_of_nothing_is_refused():
    with pytest.raises(ValueError, match="at least one point"):
        result_chart_svg([])


#: Widest a figure of a serif stands, in parts of the size of its letters (those here have 0.47).
_WIDEST_FIGURE = 0.6


@pytest.mark.parametrize("kind", [Kind.SENDER, Kind.DECADE_BOX, Kind.OHMS_CHANNEL, Kind.REFERENCE_PROBE])
@pytest.mark.parametrize("points", [1, 3, None])
def test_no_number_below_the_axis_is_cut_at_the_edge(of_kind, kind, points):
    bars = results_of(of_kind(kind)).bars
    svg = error_chart_svg(dataclasses.replace(bars, bars=bars.bars[-points:] if points else bars.bars))
    root = ET.fromstring(svg)
    width = float(root.attrib["viewBox"].split()[2])
    centred = [text for text in root.iter(f"{SVG}text") if text.attrib["text-anchor"] == "middle"]
    assert centred
    for text in centred:
        half = 0.5 * _WIDEST_FIGURE * len(text.text) * float(text.attrib["font-size"].removesuffix("px"))
        assert 0.0 <= float(text.attrib["x"]) - half
        assert float(text.attrib["x"]) + half <= width, text.text
