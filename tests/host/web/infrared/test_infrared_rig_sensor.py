"""The rig's own sensor, checked by the probe of its station."""

import re

import pytest

from calibration.infrared.planck import RIG_SENSOR_BAND
from host.certificates.canonical import certificate_from_canonical
from host.procedures.infrared.infrared_check import Kind
from host.procedures.logged import events_of
from tests.host.web.filled_forms import AT_A_STATION
from tests.host.web.infrared.steps import begin, plain, press, settle, text_of, whole_rest

pytestmark = pytest.mark.slow

OF_THE_RIG = {
    **AT_A_STATION,
    "thermometer": "station:bench-1",
    "item": "infrared sensor of bench-1",
    "distance_mm": "50",
    "set_emissivity": "",
}


def begin_with_the_sensor(browser, bench, **changed):
    answer = begin(browser, **{**OF_THE_RIG, **changed})
    assert answer.status_code == 303, plain(answer)
    for step in (1, 2, 3):
        press(browser, step)
    settle(bench, 60.0)


def test_the_sensor_of_a_station_is_checked_by_its_own_probe(browser, desk, bench):
    rig = {"thermometer": "station:bench-1", "item": "infrared sensor of bench-1", "distance_mm": "50"}
    wrong = begin(browser, **rig, reference="entered")
    assert wrong.status_code == 422 and "probe of the same station" in wrong.text
    wrong = begin(browser, **{**AT_A_STATION, **rig, "distance_mm": "400"})
    assert wrong.status_code == 422 and "% are needed" in wrong.text
    assert begin(browser, **{**AT_A_STATION, **rig}).status_code == 303
    for step in (1, 2, 3):
        press(browser, step)
    settle(bench, 60.0)
    for _ in range(3):
        assert browser.post("/infrared/1/shot", data={}).status_code == 303
        bench.read(8)
    whole_rest(browser, bench, ("75", "88"), first=4)
    data = desk.store.certificates.get("000001").files.canonical_json.decode("utf-8")
    assert "rig_infrared" in data and "the infrared sensor of bench-1" in data
    as_bought = shown_by_the_sensor(browser)
    assert "corrected" not in as_bought
    assert "what the infrared sensor of bench-1 says is corrected by them" in text_of(browser, "/infrared/1")
    assert browser.post("/infrared/1/register").status_code == 303
    entry = desk.store.register.standing("rig_infrared", "bench-1").in_force
    assert (entry.station, entry.content["certified_emissivity"]) == ("bench-1", 0.95)
    assert "are in the register" in text_of(browser, "/infrared/1")
    assert re.search(r"corrected by .*K \(bench-1, 000001\)", shown_by_the_sensor(browser))
    bench.infrared_emissivity = 0.6
    bench.read(4)
    said = shown_by_the_sensor(browser)
    assert "corrected by" not in said
    assert "its corrections hold for 0.95 in its cell, which holds 0.6" in said
    desk.store.certificates.withdraw("000001", reason="the plate was rusty", by="")
    bench.infrared_emissivity = 0.95
    bench.read(4)
    assert "corrected" not in shown_by_the_sensor(browser)


def shown_by_the_sensor(browser):
    """What the page of the station says of its infrared sensor."""
    value = text_of(browser, "/stations/bench-1").split("<dt>Infrared</dt>")[1].split("</div>")[0]
    return " ".join(re.sub(r"<[^>]+>", " ", value).split())


def test_the_steps_of_a_sensor_s_check_are_numbered_without_a_hole_and_speak_of_the_sensor(browser, bench):
    begin(browser, **OF_THE_RIG)
    seen = []
    for step in (1, 2, 3):
        page = text_of(browser, "/infrared/1")
        seen.append(re.search(r"Step (\d+ of \d+)<", page)[1])
        assert "Let the thermometer lie" not in page and "Hold it" not in page
        press(browser, step)
    seen.append(re.search(r"Step (\d+ of \d+)<", text_of(browser, "/infrared/1"))[1])
    assert seen == [f"{number} of 7" for number in (1, 2, 3, 4)]


def test_what_the_form_says_of_the_sensor_s_emissivity_is_nothing_beside_its_cell(browser, desk, bench):
    bench.infrared_emissivity = 0.9
    bench.read(8)
    begin_with_the_sensor(browser, bench, set_emissivity="0.60")
    for _ in range(3):
        assert browser.post("/infrared/1/shot", data={}).status_code == 303
    whole_rest(browser, bench, ("75", "88"), first=4)
    issued = desk.store.certificates.get("000001")
    paper = certificate_from_canonical(issued.files.canonical_json)
    # The sensor shows the bath less 0.7 K; the face is 0.38 % of 37 K colder. The cell holds 0.9,
    # the paint has 0.96, the body 22.31 °C: the sensor's equation, written out here.
    face_c = 60.0 - 0.00375 * (60.0 - 23.0)
    law = RIG_SENSOR_BAND
    body = law.signal(22.31)
    seen = 0.96 * law.signal(face_c) + 0.04 * law.signal(23.0)
    expected_c = law.temperature_c((seen - 0.1 * body) / 0.9)
    point = paper.points[0]
    assert point.expected_c == pytest.approx(expected_c, abs=0.02)
    assert point.error_k == pytest.approx(59.3 - expected_c, abs=0.03)
    believed = next(line for line in point.budget.lines if line.quantity == "surroundings as believed")
    assert believed.estimate == pytest.approx(22.31)
    assert "its emissivity cell holds 0.9" in paper.body.emissivity_words
    assert any("22.31 °C by its own word" in words for _, words in paper.conditions)


def test_a_sensor_whose_body_drifts_or_whose_cell_changes_is_not_read(browser, desk, bench):
    begin_with_the_sensor(browser, bench)
    bench.body_drift_k_per_min = 0.3
    bench.read(240)
    answer = browser.post("/infrared/1/shot", data={})
    assert answer.status_code == 422 and "own body drifts by +0.3" in plain(answer)
    bench.body_drift_k_per_min = 0.05
    bench.read(240)
    assert browser.post("/infrared/1/shot", data={}).status_code == 303
    bench.infrared_emissivity = 0.98
    bench.read(8)
    answer = browser.post("/infrared/1/shot", data={})
    assert answer.status_code == 422 and "holds 0.98 now and held 0.95" in plain(answer)
    by_hands = browser.post("/infrared/1/hands", data={"do": "shoot"})
    assert by_hands.status_code == 422 and "no hand shoots it" in by_hands.text


def test_a_rig_that_does_not_say_its_sensor_s_cell_has_no_check_of_it(browser, bench):
    bench.infrared_emissivity = None
    bench.read(8)
    answer = begin(browser, **OF_THE_RIG)
    assert answer.status_code == 422 and "nothing is assumed of it" in answer.text


def test_a_silent_station_s_sensor_says_nothing_of_now(browser, desk, bench):
    begin_with_the_sensor(browser, bench)
    desk.let_wall_time_pass(75.0)
    answer = browser.post("/infrared/1/shot", data={})
    assert answer.status_code == 422 and "bench-1 is silent for 75 s" in plain(answer)
    assert events_of(desk.store, 1)[-1].kind == Kind.SET_UP_DONE
