import io

import pytest
from pypdf import PdfReader

from host.certificates.canonical import certificate_from_canonical
from host.certificates.kind import Kind

pytestmark = pytest.mark.slow


def begin(browser, **more):
    return browser.post(
        "/on-the-vehicle", data={"item": "the blue van", "curve": "ntc-2k5-20c", "job": "J-7", **more}
    )


def read(browser, step, **fields):
    return browser.post("/on-the-vehicle/1/read", data={"step": step, **fields})


def spot(browser, step, shown, surface="vinyl electrical tape"):
    return read(browser, step, shown=shown, surface=surface, set_emissivity="0.95", surroundings="40")


def test_a_comparison_leads_from_the_first_reading_to_a_record_that_stays(browser):
    assert begin(browser).headers["Location"] == "/on-the-vehicle/1"
    assert "Run the engine" in browser.get("/on-the-vehicle/1").text
    read(browser, "thermostat", thermostat="fully open")
    read(browser, "scan_data", shown="70")
    browser.post("/on-the-vehicle/1/skip", data={"step": "gauge"})
    spot(browser, "head", "89")
    spot(browser, "outlet_hose", "86", surface="rubber")
    page = browser.get("/on-the-vehicle/1").text
    assert "scan data reads" in page and "K too low for all the others" in page
    assert "Left out: dash gauge" in page
    assert browser.post("/on-the-vehicle/1/finish").status_code == 303
    page = browser.get("/on-the-vehicle/1").text
    assert "K too low for all the others" in page
    assert "<form" not in page
    assert "not a certificate" in page
    assert "the blue van" in browser.get("/runs").text
    assert browser.get("/runs/1").headers["Location"] == "/on-the-vehicle/1"


def test_a_finished_comparison_is_put_on_paper_once_as_a_record_and_no_certificate(browser, desk):
    begin(browser)
    read(browser, "thermostat", thermostat="fully open")
    read(browser, "scan_data", shown="70")
    spot(browser, "head", "89")
    browser.post("/on-the-vehicle/1/skip", data={"step": "gauge"})
    for _ in range(2):
        browser.post("/on-the-vehicle/1/finish")
    (issued,) = desk.store.certificates.all()
    record = certificate_from_canonical(issued.files.canonical_json)
    assert record.kind is Kind.IN_PLACE and record.verdict is None
    assert [point.where for point in record.points] == ["scan data", "head beside the sensor"]
    assert "18.6 K more" in record.sentence and "Left out: gauge." in record.not_done
    paper = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(issued.files.pdf)).pages)
    assert "A record, not a certificate" in paper
    assert "/certificates/000001.pdf" in browser.get("/on-the-vehicle/1").text
    listed = browser.get("/certificates").text
    assert "the blue van" in listed and "no statement" in listed
    assert "70.0" in browser.get("/certificates/000001").text


THERMOMETER = """
kind = "infrared"
serial = "I-3"
certificate = "C-9"
issuer = "nobody at all"
issued = 2020-01-01
{due}
resolution_k = 0.1
emissivity = 0.95
distance_to_spot = 12
band_from_um = 8.0
band_to_um = 14.0
k = 2.0
[[point]]
shown_c = 40.0
correction_k = 3.0
expanded_u_k = 0.8
[[point]]
shown_c = 120.0
correction_k = 3.0
expanded_u_k = 0.8
"""


def at_the_head(browser, desk, due, emissivity="0.95", shown="80", **written):
    text = THERMOMETER.format(due=due)
    for name, value in written.items():
        text = text.replace(name, value)
    desk.store.register.add_text(text)
    begin(browser)
    read(browser, "thermostat", thermostat="fully open")
    browser.post("/on-the-vehicle/1/skip", data={"step": "scan_data"})
    browser.post("/on-the-vehicle/1/skip", data={"step": "gauge"})
    fields = {"surface": "vinyl electrical tape", "set_emissivity": emissivity, "surroundings": "40"}
    return read(browser, "head", shown=shown, thermometer="I-3", **fields)


def test_a_thermometer_of_the_register_brings_its_corrections(browser, desk):
    assert at_the_head(browser, desk, "due = 2099-01-01").status_code == 303
    page = browser.get("/on-the-vehicle/1").text.replace("\N{NO-BREAK SPACE}", " ")
    assert "corrected by +3.0 K for thermometer I-3, certificate C-9" in page
    # 3 K by its certificate; tape of 0.96 seen with 0.95 takes some tenths of a kelvin off again.
    assert "82.6 ±" in page


def test_a_record_says_so_where_a_simulated_bench_found_the_corrections_it_rests_on(browser, desk):
    at_the_head(browser, desk, "simulated = true")
    page = browser.get("/on-the-vehicle/1").text.replace("\N{NO-BREAK SPACE}", " ")
    assert "for thermometer I-3, certificate C-9 (simulated)" in page
    assert "corrected by what only a simulated bench found" in page
    assert "certificate C-9 (simulated)</option>" in page
    browser.post("/on-the-vehicle/1/strike", data={"step": "head"})
    assert "only a simulated bench" not in browser.get("/on-the-vehicle/1").text
    fields = {"surface": "vinyl electrical tape", "set_emissivity": "0.95", "surroundings": "40"}
    read(browser, "head", shown="80", thermometer="I-3", **fields)
    read(browser, "scan_data", shown="70")
    browser.post("/on-the-vehicle/1/finish")
    (issued,) = desk.store.certificates.all()
    record = certificate_from_canonical(issued.files.canonical_json)
    assert record.simulated
    assert "certificate C-9 (simulated)" in record.points[-1].words
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(issued.files.pdf)).pages]
    assert all("corrected by what only a simulated bench found" in text for text in pages)
    for address in ("/certificates", "/certificates/000001"):
        assert "corrected by what only a simulated bench found" in browser.get(address).text


def test_differences_of_a_comparison_stand_with_a_minus_sign(browser, desk):
    at_the_head(browser, desk, "", **{"correction_k = 3.0": "correction_k = -3.0"})
    page = browser.get("/on-the-vehicle/1").text.replace("\N{NO-BREAK SPACE}", " ")
    assert "corrected by \N{MINUS SIGN}3.0 K for thermometer I-3, certificate C-9" in page


def test_after_the_last_step_none_is_counted_a_second_time(browser):
    begin(browser)
    read(browser, "thermostat", thermostat="unknown")
    read(browser, "scan_data", shown="90")
    for step in ("gauge", "head", "outlet_hose", "return_hose", "box_at_computer"):
        browser.post("/on-the-vehicle/1/skip", data={"step": step})
    assert "Step 8 of 8" in browser.get("/on-the-vehicle/1").text
    browser.post("/on-the-vehicle/1/skip", data={"step": "box_at_plug"})
    page = browser.get("/on-the-vehicle/1").text
    assert "Step 8 of 8" not in page and "All 8 steps are done" in page


def test_just_beyond_its_certificate_a_thermometer_is_still_corrected_and_that_is_said(browser, desk):
    answer = at_the_head(browser, desk, "accuracy_k = 2.0", shown="120.2")
    assert answer.status_code == 303
    page = browser.get("/on-the-vehicle/1").text.replace("\N{NO-BREAK SPACE}", " ")
    assert "corrected by +3.0 K for thermometer I-3, certificate C-9, not certified there" in page
    assert "certified from 40.0 to 120.0 °C" in page


def test_far_beyond_a_certificate_that_disproves_its_maker_a_thermometer_is_refused(browser, desk):
    answer = at_the_head(browser, desk, "accuracy_k = 2.0", shown="131")
    assert answer.status_code == 422
    page = answer.text.replace("\N{NO-BREAK SPACE}", " ")
    assert "more than 10 K outside" in page
    assert "at 40.0 °C its certificate corrects by +3.0 K, more than they allow" in page


def test_a_thermometer_of_another_band_than_the_surfaces_is_refused(browser, desk):
    band = {"band_from_um = 8.0": "band_from_um = 3.0", "band_to_um = 14.0": "band_to_um = 5.0"}
    answer = at_the_head(browser, desk, "", **band)
    assert answer.status_code == 422
    assert "I-3 sees 3 to 5\N{NO-BREAK SPACE}µm" in answer.text.replace(" µm", "\N{NO-BREAK SPACE}µm")


def test_the_list_says_where_and_for_which_setting_a_thermometer_is_certified(browser, desk):
    settable = {"emissivity = 0.95": 'emissivity = "settable"\ncertified_emissivity = 0.97'}
    answer = at_the_head(browser, desk, "", emissivity="0.5", **settable)
    page = answer.text.replace("\N{NO-BREAK SPACE}", " ")
    assert "I-3, set to 0.97, certified from 40.0 to 120.0 °C, certificate C-9" in page
    assert "set to 0.97, not 0.5" in page


def test_an_emissivity_that_this_thermometer_cannot_be_set_to_is_refused(browser, desk):
    answer = at_the_head(browser, desk, "", emissivity="0.9")
    assert answer.status_code == 422
    assert "fixed at 0.95" in answer.text


def test_a_thermometer_past_its_due_date_is_refused_beside_the_field(browser, desk):
    answer = at_the_head(browser, desk, "due = 2021-01-01")
    assert answer.status_code == 422
    assert "I-3" in answer.text and "due" in answer.text


def test_a_form_that_cannot_be_read_is_shown_again_with_what_was_typed(browser):
    begin(browser)
    read(browser, "thermostat", thermostat="unknown")
    answer = read(browser, "scan_data", shown="ninety")
    assert answer.status_code == 422
    assert 'value="ninety"' in answer.text and 'aria-invalid="true"' in answer.text


def test_a_comparison_without_a_vehicle_or_a_curve_is_refused_beside_the_field(browser):
    answer = begin(browser, item="", curve="nothing")
    assert answer.status_code == 422
    assert "Write which vehicle" in answer.text and "Choose the curve" in answer.text
    assert 'value="J-7"' in answer.text


def test_fahrenheit_is_read_where_the_page_is_in_fahrenheit(browser):
    begin(browser)
    browser.get("/on-the-vehicle/1?scale=f")
    read(browser, "thermostat", thermostat="unknown")
    read(browser, "scan_data", shown="194")
    assert "194" in browser.get("/on-the-vehicle/1").text
    assert "90.0 ±" in browser.get("/on-the-vehicle/1?scale=c").text


@pytest.mark.parametrize("path", ["/on-the-vehicle/99", "/runs/99"])
def test_a_comparison_that_is_not_there_is_said(browser, path):
    assert browser.get(path).status_code == 404


def test_a_step_this_program_does_not_know_is_refused(browser):
    begin(browser)
    assert read(browser, "oil").status_code == 400


def test_a_comparison_that_is_open_does_not_disturb_the_desk(browser, bench, desk):
    begin(browser)
    assert desk.runs.open_run_of("bench-1") is None
    assert browser.get("/").status_code == 200
    assert browser.get("/stations/bench-1").status_code == 200
