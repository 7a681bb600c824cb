"""The probe check over the pages: ice, and water that boils at the pressure of the bench."""

import re

import pytest

from calibration.thermistor.steinhart_hart import SteinhartHart
from host.certificates.canonical import certificate_from_canonical
from host.procedures.record.issued_record import record_in_store
from host.procedures.record.recompute import recompute

pytestmark = pytest.mark.slow

#: As the papers of the small bench have it.
PROBE = SteinhartHart(a=1.129241e-3, b=2.341077e-4, c=8.775468e-8)
#: IAPWS-IF97 (release of 2007, table 36): p_sat(372.755919 K) = 0.1 MPa: water boils at 99.6059 °C there.
BOILS_AT_1000_HPA_C = 99.6059
#: The same release, worked out by the package iapws 1.5.5; the sender of the small bench is known to 90 °C.
BOILS_AT_700_HPA_C = 89.9315


def typed(ice_c=0.0, boiling_c=BOILS_AT_1000_HPA_C, **changed):
    return {
        "ice_ohm": f"{PROBE.resistance_ohm(ice_c):.3f}",
        "ice_error_ohm": "30",
        "boiling_ohm": f"{PROBE.resistance_ohm(boiling_c):.4f}",
        "boiling_error_ohm": "1",
        "pressure": "1000hPa",
    } | changed


def points(desk, number="000001"):
    issued = desk.store.certificates.get(number)
    return certificate_from_canonical(issued.files.canonical_json).points


def test_a_true_probe_says_what_its_certificate_says_at_both_points(browser, desk, bench):
    assert browser.post("/probe-check", data=typed()).headers["Location"] == "/probe-check/1"
    ice, boiling = points(desk)
    assert ice.error_k == pytest.approx(0.0, abs=0.001)
    # What 5 cm of water above the probe do (0.14 K, method) is no correction and stands in U.
    assert boiling.error_k == pytest.approx(0.0, abs=0.001)
    assert boiling.expanded_u_k > 0.07
    page = browser.get("/probe-check/1").text
    assert "says what its certificate says" in page and "Open the certificate" in page
    assert "0001" in browser.get("/probe-check").text


def test_a_probe_half_a_kelvin_off_is_found_and_held_against_its_limit(browser, desk, bench):
    browser.post("/probe-check", data=typed(ice_c=0.5, boiling_c=BOILS_AT_1000_HPA_C + 0.5, limit_k="0.2"))
    assert points(desk)[0].error_k == pytest.approx(0.5, abs=0.01)
    page = browser.get("/probe-check/1").text
    assert "Out of tolerance" in page and "mark the probe as failed" in page


def test_a_pressure_from_a_weather_report_is_refused(browser, bench):
    answer = browser.post("/probe-check", data=typed(altitude="800m", pressure="1013hPa"))
    assert answer.status_code == 422 and "reduced to sea level" in answer.text


def test_boiling_without_a_pressure_and_a_reading_without_its_doubt_are_refused(browser, bench):
    answer = browser.post("/probe-check", data=typed(pressure=""))
    assert answer.status_code == 422 and "needs the air pressure" in answer.text
    answer = browser.post("/probe-check", data=typed(ice_error_ohm=""))
    assert answer.status_code == 422 and "how far the meter may be off" in answer.text
    answer = browser.post("/probe-check", data={})
    assert answer.status_code == 422 and "one of the two points" in answer.text


def test_a_check_is_among_the_runs_and_comes_out_the_same_again(browser, desk, bench):
    browser.post("/probe-check", data=typed(pressure="", altitude="500m"))
    assert browser.get("/runs/1").headers["Location"] == "/probe-check/1"
    assert "ice and boiling water" in browser.get("/runs").text
    assert recompute(record_in_store(desk.store, "000001")).difference is None


def paper_of_the_probe(desk):
    """Register file of P-1, as a person would have typed it."""
    [first] = [one for one in desk.store.register.standings() if one.kind == "probe"]
    content = dict(first.in_force.content)
    lines = [f"{name} = {value!r}" for name, value in content.items() if name not in ("simulated", "due")]
    text = "\n".join(lines).replace("'", '"')
    return re.sub(r'(issued) = "([\d-]+)"', r"\1 = \2", text) + "\nsimulated = true\n"


def second_probe(desk):
    """The same of bench-2."""
    desk.store.register.add_text(paper_of_the_probe(desk).replace('"P-1"', '"P-2"') + 'station = "bench-2"\n')


def test_a_page_of_several_probes_asks_which_and_a_station_brings_its_own(browser, desk, bench):
    second_probe(desk)
    assert "<option" in browser.get("/probe-check").text
    unsaid = browser.post("/probe-check", data=typed())
    assert unsaid.status_code == 422 and 'id="probe-wrong"' in unsaid.text and "choose" in unsaid.text
    assert 'value="P-2" selected' in browser.get("/probe-check?station=bench-2").text
    assert 'value="P-1" selected' in browser.get("/probe-check?station=bench-1").text
    assert 'value="P-1" selected' in browser.get("/probe-check?serial=P-1").text
    [number] = [one.number for one in desk.store.register.standings() if one.serial == "P-1"]
    assert "/probe-check?serial=P-1" in browser.get(f"/register/{number}").text
    browser.post("/probe-check", data=typed(probe="P-1"))
    paper = certificate_from_canonical(desk.store.certificates.get("000001").files.canonical_json)
    assert paper.item == "Reference probe P-1"
    assert '<td class="word">P-1</td>' in browser.get("/probe-check").text
    wrong = browser.post("/probe-check", data=typed(probe="P-9"))
    assert wrong.status_code == 422 and "no reference probe" in wrong.text


def from_the_station(browser, where, form):
    """The form as a page holds it after one press of a station's button."""
    page = browser.post("/probe-check", data=form | {"read": f"{where}:bench-1"})
    values = dict(re.findall(r'name="(\w+)"[^>]* value="([^"]*)"', page.text))
    return page, form | {name: value for name, value in values.items() if name.startswith(where)}


def test_one_press_takes_the_probe_s_ohms_in_boiling_water_from_the_station(browser, desk, bench):
    bench.bath_c = BOILS_AT_700_HPA_C
    bench.read(100)
    page, form = from_the_station(browser, "boiling", {"pressure": "700hPa"})
    assert page.status_code == 200 and "Read by bench-1" in page.text
    assert float(form["boiling_ohm"]) == pytest.approx(PROBE.resistance_ohm(BOILS_AT_700_HPA_C), rel=1e-3)
    assert float(form["boiling_error_ohm"]) >= 0.006 * float(form["boiling_ohm"])
    browser.post("/probe-check", data=form)
    [boiling] = points(desk)
    # The probe of the small bench is true, and wobbles by 0.01 K.
    assert boiling.error_k == pytest.approx(0.0, abs=0.01)
    paper = certificate_from_canonical(desk.store.certificates.get("000001").files.canonical_json)
    assert paper.citations == ("bench-1, boot 00000001-0000abcd, readings 60 to 140",)
    assert recompute(record_in_store(desk.store, "000001")).difference is None
    assert "700.0 hPa" in str(paper.conditions) and "read by bench-1" in str(paper.conditions)


def test_ohms_that_were_changed_after_the_press_are_typed_ones(browser, desk, bench):
    bench.bath_c = BOILS_AT_700_HPA_C
    bench.read(100)
    _, form = from_the_station(browser, "boiling", {"pressure": "700hPa"})
    browser.post("/probe-check", data=form | {"boiling_ohm": "900"})
    paper = certificate_from_canonical(desk.store.certificates.get("000001").files.canonical_json)
    assert paper.citations == ("what was typed in run 0001",)


def test_a_silent_station_and_a_probe_that_still_warms_fill_nothing_in(browser, desk, bench):
    bench.bath_c = 60.0
    bench.read(100)
    desk.let_wall_time_pass(20.0)
    silent, form = from_the_station(browser, "boiling", {})
    assert silent.status_code == 422 and "is silent for 20" in silent.text and form["boiling_ohm"] == ""
    bench.heater_c = 90.0
    bench.read(100)
    warming, _ = from_the_station(browser, "boiling", {})
    assert warming.status_code == 422 and "must stand still" in warming.text


def test_a_probe_far_off_is_not_read_again_in_some_months_though_it_has_no_limit(browser, desk, bench):
    # What a probe that reads 43.5 K low at boiling comes to.
    low = typed(boiling_c=BOILS_AT_1000_HPA_C - 43.5)
    browser.post("/probe-check", data=low)
    page = browser.get("/probe-check/1").text
    assert re.search(r"43\.50?\sK low at the boiling water", page)
    assert "Let the water boil afresh" in page and "mark the probe as failed" in page
    assert "some months" not in page
    browser.post("/probe-check", data=typed(boiling_c=BOILS_AT_1000_HPA_C - 0.5, limit_k="5"))
    within = browser.get("/probe-check/2").text
    assert "surely off all the same" in within and "some months" not in within
    browser.post("/probe-check", data=typed())
    assert "some months" in browser.get("/probe-check/3").text


def test_an_ice_point_outside_the_certificate_is_said_on_page_and_paper(browser, desk, bench):
    browser.post("/probe-check", data=typed())
    assert "outside the probe" not in browser.get("/probe-check/1").text
    paper = paper_of_the_probe(desk).replace("valid_from_c = 0.0", "valid_from_c = 5.0")
    desk.store.register.add_text(paper.replace('"C-1"', '"C-9"'))
    browser.post("/probe-check", data=typed())
    said = "The ice point lies outside the probe&#39;s certificate, which covers 5 to 100 °C"
    assert said in browser.get("/probe-check/2").text.replace("\N{NO-BREAK SPACE}", " ")
    issued = certificate_from_canonical(desk.store.certificates.get("000002").files.canonical_json)
    assert any("ice point lies outside" in remark for remark in issued.remarks)


def test_the_station_shows_the_probe_s_ohms_beside_its_temperature(browser, desk, bench):
    bench.bath_c = 60.0
    bench.read(10)
    page = browser.get("/stations/bench-1").text
    assert re.search(r">2,48\d(\.\d)?\sΩ<", page)  # 2487 Ω of the probe's curve at 60 °C
