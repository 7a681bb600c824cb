import io
import re

import pytest

from calibration.curves import curve_names, load_curve

pytestmark = pytest.mark.slow

MANUAL = {
    "title": "Sender of a delivery van",
    "source": "Service manual, invented, page 12",
    "table": "20, 2300, 2600\n40, 1050, 1250\n60, 540, 640\n80, 290, 345",
    "scale": "c",
}


def beside(page, field):
    found = re.search(rf'id="{field}-wrong">([^<]*)<', page)
    return found.group(1) if found else ""


def test_the_list_shows_every_curve_with_a_small_chart(browser):
    page = browser.get("/curves").text
    assert page.count("<svg") == len(curve_names())
    assert all(f'href="/curves/{name}"' in page for name in curve_names())


@pytest.mark.parametrize("name", curve_names())
def test_every_curve_has_its_page_with_source_table_and_chart(browser, name):
    curve = load_curve(name)
    page = browser.get(f"/curves/{name}").text
    assert curve.content_hash in page and "<svg" in page and "<desc>" in page
    for row in curve.rows:
        assert f"<td>{row.resistance_ohm:.12g}</td>" in page
    assert "°F" in browser.get(f"/curves/{name}?scale=f").text


def test_a_curve_that_is_not_there_is_said_to_be_so(browser):
    assert browser.get("/curves/ntc-none").status_code == 404


def test_a_table_of_a_manual_becomes_a_curve_of_the_shops_own(browser, desk):
    added = browser.post("/curves/add", data=MANUAL)
    assert (added.status_code, added.headers["Location"]) == (303, "/curves/own-sender-of-a-delivery-van")
    page = browser.get(added.headers["Location"]).text
    assert "Service manual, invented, page 12" in page
    assert "<td>2300</td>" in page and "<td>2600</td>" in page
    assert "the shop's own" in browser.get("/curves").text


def test_a_csv_and_a_toml_file_are_taken(browser, desk):
    csv = b"temperature_f,resistance_kohm\n68,2.45\n122,0.85\n176,0.318\n"
    sent = {**MANUAL, "table": "", "name": "by-csv", "upload": (io.BytesIO(csv), "rows.csv")}
    assert browser.post("/curves/add", data=sent).status_code == 303
    assert desk.store.curves.get("by-csv").curve.rows[0].temperature_c == pytest.approx(20.0)
    toml = desk.store.curves.get("by-csv").toml.encode()
    assert browser.post("/curves/add", data={"upload": (io.BytesIO(toml), "by-toml.toml")}).status_code == 303
    assert desk.store.curves.get("by-toml").sha256 == desk.store.curves.get("by-csv").sha256


@pytest.mark.parametrize(
    ("field", "typed", "words"),
    [
        ("source", "", "No curve without a source"),
        ("title", "", "Write what it is of"),
        ("table", "", "empty"),
        ("table", "20, 2500\n40, 2600", "not below"),
        ("table", "20, 2500\n40, two", "no number"),
        ("name", "My Curve", "no name for a curve"),
        ("name", "ntc-2k5-20c", "comes with the bench"),
        ("tolerance_percent", "five", "above zero"),
    ],
)
def test_a_curve_with_a_slip_is_refused_beside_its_field_and_kept_as_typed(
    browser, desk, field, typed, words
):
    refused = browser.post("/curves/add", data={**MANUAL, field: typed})
    assert refused.status_code == 422
    assert words in beside(refused.text, field)
    assert desk.store.curves.all() == []
    for name, text in {**MANUAL, field: typed}.items():
        assert name == "scale" or text in refused.text


def test_two_curves_beside_each_other_say_where_they_are_furthest_apart(browser):
    page = browser.get("/curves/compare?first=ntc-10k-25c&second=ntc-10k-25c-b3977").text
    assert "Furthest apart at" in page and page.count("<svg") == 2
    assert browser.get("/curves/compare").status_code == 200


def test_a_few_points_find_the_curve_and_lead_to_a_check_of_it(browser, bench):
    """Two printed rows of the curve's own table (its source stands in its file)."""
    rows = load_curve("ntc-2k5-20c").rows
    chosen = [row for row in rows if row.temperature_c in (20.0, 80.0)]
    points = "\n".join(f"{row.temperature_c:g} {row.resistance_ohm:g}" for row in chosen)
    page = browser.get("/curves/find-out", query_string={"points": points, "in": "c"}).text
    assert "ntc-2k5-20c" in page and "none of these" in page
    assert '<a href="/stations/bench-1?curve=ntc-2k5-20c#start">' in page
    shares = [float(text) for text in re.findall(r"<td>([\d.]+) %</td>", page)]
    assert sum(shares) == pytest.approx(100.0, abs=1.0)
    in_f = "\n".join(f"{row.temperature_c * 1.8 + 32:g} {row.resistance_ohm / 1000:g}k" for row in chosen)
    other = browser.get("/curves/find-out", query_string={"points": in_f, "in": "f"}).text
    assert [float(text) for text in re.findall(r"<td>([\d.]+) %</td>", other)] == shares


@pytest.mark.parametrize("points", ["", "20 2450", "20 2450\n80", "20 2450\n80 warm"])
def test_points_that_cannot_be_read_stay_in_the_form(browser, points):
    refused = browser.get("/curves/find-out", query_string={"points": points})
    assert refused.status_code == 422
    assert beside(refused.text, "points")
    assert points in refused.text
