import io
import re

import pytest

from calibration.thermistor.steinhart_hart import SteinhartHart
from host.store.instrument_marks import Mark
from host.store.register_file import register_entry

pytestmark = pytest.mark.slow

PROBE = SteinhartHart(a=1.129241e-3, b=2.341077e-4, c=8.775468e-8)
PROBE_FORM = {
    "kind": "probe",
    "serial": "P-7",
    "certificate": "K 1234",
    "issuer": "Invented calibration laboratory",
    "issued": "2024-03-01",
    "due": "2099-03-01",
    "a": "1.129241e-3",
    "b": "2.341077e-4",
    "c": "8.775468e-8",
    "expanded_u_k": "0.05",
    "k": "2",
    "valid_from_c": "0",
    "valid_to_c": "100",
}
INFRARED_FORM = {
    "kind": "infrared",
    "serial": "IR 3/b",
    "issued": "2025-05-01",
    "resolution_k": "0.1",
    "accuracy_k": "2",
    "accuracy_percent": "2",
    "distance_to_spot": "12",
    "band_from_um": "8",
    "band_to_um": "14",
    "k": "2",
}


def beside(page, field):
    """Words that stand beside a field."""
    found = re.search(rf'id="{field}-wrong">([^<]*)<', page)
    return found.group(1) if found else None


def test_an_empty_register_says_what_is_missing_and_how_to_add_it(browser):
    page = browser.get("/register").text
    assert "No reference probe is in use: no sender check can begin at a station." in page
    assert "No decade box is in use" in page
    assert "no check" not in page.lower(), "a check by hand needs neither"
    assert '<a class="quiet" href="/register/add?kind=probe">' in page


def test_a_probe_typed_from_its_paper_is_in_the_register_and_in_use(browser, desk):
    added = browser.post("/register/add", data=PROBE_FORM)
    assert added.status_code == 303
    page = browser.get(added.headers["Location"]).text
    assert "In use: certificate K 1234 of 2024-03-01, due 2099-03-01." in page
    assert "0 to 100\u00a0°C, U = 0.05\u00a0K (k = 2)" in page
    current = desk.store.register.current("probe")
    assert (current.serial, current.content["b"]) == ("P-7", 2.341077e-4)


def test_points_typed_in_fahrenheit_give_the_probe_its_coefficients(browser, desk):
    points = "\n".join(f"{t * 1.8 + 32:.10g} {PROBE.resistance_ohm(t):.8g}" for t in (0.0, 25.0, 60.0, 100.0))
    form = {**PROBE_FORM, "a": "", "b": "", "c": "", "point": points, "scale": "f", "valid_from_c": "32",
            "valid_to_c": "212"}  # fmt: skip
    assert browser.post("/register/add", data=form).status_code == 303
    content = desk.store.register.current("probe").content
    assert (content["valid_from_c"], content["valid_to_c"]) == (0.0, 100.0)
    fitted = SteinhartHart(a=content["a"], b=content["b"], c=content["c"])
    assert fitted.temperature_c(PROBE.resistance_ohm(80.0)) == pytest.approx(80.0, abs=1e-3)


@pytest.mark.parametrize(
    ("form", "field", "typed", "words"),
    [
        (PROBE_FORM, "serial", "", "Write this from the paper"),
        (PROBE_FORM, "issued", "1 March", "year-month-day"),
        (PROBE_FORM, "due", "2020-01-01", "is before issued"),
        (PROBE_FORM, "expanded_u_k", "0,05", "is no number"),
        (PROBE_FORM, "expanded_u_k", "0", "above zero"),
        (PROBE_FORM, "k", "20", "coverage factor"),
        (PROBE_FORM, "valid_to_c", "-5", "must be below"),
        (PROBE_FORM, "a", "", "missing"),
        (INFRARED_FORM, "emissivity", "1.2", "from 0.1 to 1"),
        (INFRARED_FORM, "distance_to_spot", "twelve", "is no number"),
        (INFRARED_FORM, "point", "40 0.3", "Line 1 has 2 numbers"),
        (INFRARED_FORM, "point", "40 0,3 0.9", "decimals with a point"),
        (INFRARED_FORM, "point", "90 -0.8 1.3\n40 0.3 0.9", "coldest comes first"),
    ],
)
def test_a_slip_is_told_beside_its_field_and_nothing_typed_is_lost(browser, desk, form, field, typed, words):
    refused = browser.post("/register/add", data={**form, field: typed})
    assert refused.status_code == 422
    assert words in (beside(refused.text, field) or "")
    assert refused.text.count('aria-invalid="true"') == 1
    assert f'value="{form["serial"]}"' in refused.text or field == "serial"
    assert typed in refused.text
    assert desk.store.register.all() == []


def test_an_infrared_thermometer_as_bought_is_found_by_its_number_though_its_serial_is_odd(browser, desk):
    added = browser.post("/register/add", data=INFRARED_FORM)
    page = browser.get(added.headers["Location"]).text
    assert "maker&#39;s accuracy ±2\u00a0K or ±2\u00a0%, not calibrated" in page
    assert "none, as bought" in page
    content = desk.store.register.current("infrared").content
    assert (content["emissivity"], content["distance_to_spot"]) == ("settable", 12.0)
    assert "k" not in content


def test_corrections_of_a_thermometer_that_can_be_set_need_the_setting_they_were_found_with(browser, desk):
    points = {"point": "40.2 0.3 0.9\n89.6 -0.8 1.3"}
    refused = browser.post("/register/add", data=INFRARED_FORM | points)
    assert refused.status_code == 422
    assert "one setting alone" in (beside(refused.text, "certified_emissivity") or "")
    added = browser.post("/register/add", data=INFRARED_FORM | points | {"certified_emissivity": "0.95"})
    assert added.status_code == 303
    assert desk.store.register.current("infrared").content["certified_emissivity"] == 0.95


def test_a_file_is_added_by_upload_or_by_paste_and_a_bad_one_stays_on_the_page(browser, desk):
    text = (
        'kind = "scan_tool"\nserial = "S-1"\ncertificate = "none, as bought"\nissuer = "its maker"\n'
        "issued = 2025-01-02\nresolution_k = 1\naccuracy_k = 1\n"
    )
    refused = browser.post("/register/add", data={"file": text.replace("resolution_k", "resolution")})
    assert refused.status_code == 422
    assert "resolution is no field of this file" in beside(refused.text, "file")
    assert "resolution = 1" in refused.text
    upload = {"upload": (io.BytesIO(text.encode()), "tool.toml")}
    assert browser.post("/register/add", data=upload).status_code == 303
    assert browser.post("/register/add", data={"file": text}).status_code == 303
    assert len(desk.store.register.all()) == 1


def test_the_serial_on_an_instrument_leads_to_its_page(browser, desk, bench):
    assert browser.get("/register/P-1").headers["Location"] == "/register/1"
    assert browser.get("/register/P-99").status_code == 404
    assert browser.get("/register/99").status_code == 404


def test_trouble_comes_first_and_retired_instruments_last(browser, desk):
    for serial in ("P-1", "P-2", "P-3"):
        browser.post("/register/add", data={**PROBE_FORM, "serial": serial})
    desk.store.register.mark("probe", "P-1", Mark.RETIRED, reason="cable torn off")
    desk.store.register.mark("probe", "P-2", Mark.FAILED, reason="0.4 K off at the ice point")
    page = browser.get("/register").text
    assert page.index(">P-2<") < page.index(">P-3<") < page.index(">P-1<")
    assert "What a result rests on" in page
    assert "0.4 K off at the ice point. Nothing may rest on it" in page


def test_an_instrument_is_marked_with_a_reason_and_the_reason_stays(browser, desk, bench):
    refused = browser.post("/register/1/mark", data={"mark": "failed", "reason": " "})
    assert refused.status_code == 422
    assert "Write why" in beside(refused.text, "reason")
    assert '<option value="failed" selected>' in refused.text
    assert "Choose" in beside(browser.post("/register/1/mark", data={"reason": "fell"}).text, "mark")
    assert browser.post("/register/1/mark", data={"mark": "failed", "reason": "fell"}).status_code == 303
    page = browser.get("/register/1").text
    assert "failed, “fell”" in page
    assert (
        browser.post("/register/1/mark", data={"mark": "in_use", "reason": "found good"}).status_code == 303
    )
    assert "In use: certificate C-1" in browser.get("/register/1").text


def test_nobody_marks_an_instrument_from_another_page(browser, desk, bench):
    browser.get("/register")
    sent = browser.post("/register/1/mark", data={"mark": "failed", "reason": "x"}, from_a_page=False)
    assert sent.status_code == 403
    assert desk.store.register.standing("probe", "P-1").marks == ()


def test_a_probe_of_three_certificates_shows_its_drift_and_its_chart(browser):
    """Each certificate says 0.01 K a year more at every temperature, on the scale of the first one."""
    for number, (issued, shift_k) in enumerate(
        (("2022-03-01", 0.0), ("2023-03-01", 0.01), ("2024-02-29", 0.02))
    ):
        points = "\n".join(
            f"{t} {PROBE.resistance_ohm(t + shift_k):.9g}" for t in (0.0, 25.0, 45.0, 60.0, 80.0, 100.0)
        )
        form = {**PROBE_FORM, "a": "", "b": "", "c": "", "point": points, "issued": issued,
                "certificate": f"K {number}"}  # fmt: skip
        assert browser.post("/register/add", data=form).status_code == 303
    page = browser.get("/register/1").text
    assert "+0.010 ± 0.035 K a year: no drift is seen." in page
    assert page.count("<svg") == 3
    assert "2024-02-29</td><td>+0.020</td><td>0.050" in page
    said = re.search(r"<desc>([^<]*)</desc>", page).group(1)
    assert "2023-03-01: 0.010 ± 0.050 K." in said
    assert "Carried on to" in said
    assert "140\u00a0°F" in browser.get("/register/1?scale=f").text


def test_a_result_is_found_from_the_instrument_it_rests_on(finished_desk):
    from host.web.app import create_app

    page = create_app(finished_desk).test_client().get("/register/P-1", follow_redirects=True).text
    assert '<a class="to" href="/runs/1">' in page
    assert '<a href="/certificates/000001.pdf">certificate 000001</a>' in page
    sha256 = finished_desk.store.register.current("probe").sha256
    assert f"by certificate C-1 (SHA-256 <code>{sha256[:12]}…</code>)" in page


def test_an_instrument_that_is_kept_at_a_station_says_so_and_keeps_it_with_its_next_certificate(
    browser, desk, bench
):
    common = dict(desk.store.register.current("probe").content)
    desk.store.register.add(register_entry(common | {"serial": "P-7", "station": "bench-7"}))
    assert "kept at bench-7" in browser.get("/register").text
    page = browser.get("/register/3").text
    assert 'Kept at <a href="/stations/bench-7">bench-7</a>' in page
    again = re.search(r'href="(/register/add[^"]*)"', page)[1].replace("&amp;", "&")
    assert 'name="station" value="bench-7"' in browser.get(again).text
