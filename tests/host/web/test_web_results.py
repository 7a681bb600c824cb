import hashlib
import json
import re

import pytest

from calibration.conformity import Verdict
from host.certificates.canonical import certificate_from_canonical
from host.pictures.verdict_shape import SHAPES
from host.web.app import create_app

pytestmark = pytest.mark.slow


@pytest.fixture
def browser(finished_desk):
    return create_app(finished_desk).test_client()


@pytest.fixture
def issued(finished_desk):
    (one,) = finished_desk.store.certificates.of_run(1)
    return one


def test_a_result_stands_in_the_order_of_who_reads_it(browser, issued):
    page = browser.get("/runs/1").text
    certificate = certificate_from_canonical(issued.files.canonical_json)
    places = [
        page.index('class="overall"'),
        page.index('class="sentence"'),
        page.index("sender shows"),
        page.index("What next"),
        page.index("In the vehicle"),
        page.index("The numbers"),
        page.index("result-chart"),
        page.index("The budget"),
    ]
    assert places == sorted(places)
    assert certificate.verdict.words.capitalize() in page
    assert SHAPES[certificate.verdict] in page


def test_every_number_of_the_table_is_the_number_on_the_paper(browser, issued):
    page = browser.get("/runs/1").text
    points = json.loads(issued.files.canonical_json)["body"]["points"]
    assert len(points) == 3
    for point in points:
        for name in ("temperature_c", "resistance_ohm", "indicated_c", "error_k", "expanded_u_k", "limit_k"):
            printed = point[name]["reported"].replace("-", "−")  # a true minus, as on the paper
            assert f"<td>{printed}</td>" in page


def test_each_temperature_has_a_strip_and_a_verdict(browser, issued):
    page = browser.get("/runs/1").text
    assert page.count("sender shows</text>") == 3
    certificate = certificate_from_canonical(issued.files.canonical_json)
    captions = re.findall(r"<figcaption>(.*?)</figcaption>", page, re.S)
    assert len(captions) == 3
    for caption, point in zip(captions, certificate.points, strict=True):
        assert point.verdict.words in caption


def test_what_a_person_typed_cannot_become_markup(browser):
    for path in ("/runs/1", "/runs", "/certificates"):
        page = browser.get(path).text
        assert "Sender &lt;7&gt; &amp; its lead" in page
        assert "Sender <7>" not in page


def test_a_simulated_result_says_so_on_every_page_it_stands_on(browser):
    assert "Simulated bench: no real sender was measured." in browser.get("/runs/1").text
    assert "simulated" in browser.get("/runs").text
    assert "simulated bench: no real sender was measured" in browser.get("/certificates").text


def test_the_page_says_the_result_in_fahrenheit_when_asked(browser, issued):
    page = browser.get("/runs/1?scale=f").text.replace("\u00a0", " ")
    assert "86.0 °F (30.0 °C)" in page
    assert "Bath °F" in page


def test_the_paper_and_the_data_are_the_issued_bytes(browser, issued):
    paper = browser.get(f"/certificates/{issued.number}.pdf")
    assert paper.mimetype == "application/pdf"
    assert paper.headers["Content-Disposition"].startswith("inline")
    assert hashlib.sha256(paper.data).hexdigest() == issued.pdf_sha256
    data = browser.get(f"/certificates/{issued.number}.json")
    assert data.mimetype == "application/json"
    assert data.data == issued.files.canonical_json


def test_the_list_of_certificates_gives_number_item_verdict_and_ways_to_open_it(browser, issued):
    page = browser.get("/certificates").text
    assert issued.number in page
    verdict = Verdict(issued.files.verdict)
    assert verdict.words in page and SHAPES[verdict] in page
    assert f"/certificates/{issued.number}.pdf" in page


def test_checking_again_as_left_brings_the_form_with_the_same_sender(browser):
    page = browser.get("/runs/1").text
    address = re.search(r'href="(/stations/bench-1\?as_left_of=1&amp;item=[^"]*)"', page)[1]
    form = browser.get(address.replace("&amp;", "&")).text
    assert 'name="as_left_of" value="1"' in form
    assert "What was done to it since" in form
    assert 'value="Sender &lt;7&gt; &amp; its lead"' in form
    assert '<option value="ntc-310-80c" selected>' in form
    assert 'value="Mrs A. Fennimore"' in form


def test_what_the_computer_would_show_follows_from_the_points_that_were_issued(browser, issued):
    page = browser.get("/runs/1").text
    part = page[page.index("In the vehicle") : page.index("The numbers")]
    rows = [re.findall(r"<td>([^<]*)</td>", row) for row in re.findall(r"<tr>(<td>.*?)</tr>", part)]
    assert [row[0] for row in rows] == ["30 °C", "40 °C", "50 °C", "60 °C", "70 °C", "80 °C"]
    points = {
        point.temperature_c: point for point in certificate_from_canonical(issued.files.canonical_json).points
    }
    near_60 = next(point for t, point in points.items() if abs(t - 60.0) < 1.0)
    shown_at_60 = float(next(row for row in rows if row[0] == "60 °C")[1])
    assert shown_at_60 - 60.0 == pytest.approx(near_60.error_k, abs=0.05)
    for row in rows:  # a box in whole ohms comes within the half of a step
        assert float(row[5]) == pytest.approx(float(row[0].split()[0]), abs=0.2)


def test_the_chart_on_the_page_takes_the_ink_of_the_page(browser):
    page = browser.get("/runs/1").text
    chart = page[page.index("result-chart") :]
    assert "currentColor" in chart
    assert "#15181c" not in chart
    assert "style=" not in chart[: chart.index("</figure>")]
