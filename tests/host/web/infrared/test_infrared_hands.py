"""Simulated hands at an infrared check: they heat and shoot as a person would, and may no more."""

import pytest

from host.certificates.canonical import certificate_from_canonical
from host.procedures.infrared.infrared_check import Kind
from host.procedures.logged import events_of
from tests.host.web.filled_forms import AT_A_STATION
from tests.host.web.infrared.steps import begin, plain, press, set_up, settle, shot, text_of, whole_rest

pytestmark = pytest.mark.slow


def test_simulated_hands_shoot_a_thermometer_whose_drift_the_check_finds(browser, desk, bench):
    begin(browser, **AT_A_STATION)
    set_up(browser)
    settle(bench, 22.0)
    browser.post("/infrared/1/hands", data={"do": "heat"})
    assert bench.heater_c == 60.0
    bench.read(2000)
    for _ in range(3):
        assert browser.post("/infrared/1/hands", data={"do": "shoot"}).status_code == 303
    whole_rest(browser, bench, ("75", "88"))
    issued = desk.store.certificates.get("000001")
    point = certificate_from_canonical(issued.files.canonical_json).points[0]
    # Drift of 0.8 K, 1 % of the signal kept off by dirt and 0.3 % from beside the target: 1.3 % of 37 K.
    assert point.error_k == pytest.approx(0.8 - 0.013 * 37.0, abs=0.25)
    assert abs(point.error_k - (0.8 - 0.013 * 37.0)) < point.expanded_u_k


def test_simulated_hands_say_what_they_do_and_fill_a_bath_that_is_too_hot_anew(browser, bench):
    begin(browser, **AT_A_STATION)
    set_up(browser)
    settle(bench, 85.0)
    browser.post("/infrared/1/hands", data={"do": "heat"})
    # Left to itself it would cool from 85 to 60 °C in most of an hour.
    assert (bench.bath_c, bench.heater_c) == (22.0, 60.0)
    said = text_of(browser, "/infrared/1")
    assert "poured in fresh water and set the heater to 60 °C" in said
    # (60 - 22) K at 7 K/min, and three minutes to settle.
    assert "about 8 minutes of the bench&#39;s own time" in said
    settle(bench, 59.0)
    browser.post("/infrared/1/hands", data={"do": "heat"})
    assert bench.bath_c == 59.0 and "hands set the heater to 60 °C" in text_of(browser, "/infrared/1")


def test_simulated_hands_at_another_temperature_are_asked_on_the_page_whether_it_is_meant_so(
    browser, desk, bench
):
    begin(browser, **AT_A_STATION)
    set_up(browser)
    settle(bench, 71.0)
    asked = browser.post("/infrared/1/hands", data={"do": "shoot"})
    page = plain(asked)
    assert asked.status_code == 422 and "The target is at 71.0 °C (159.8 °F)" in page
    # The place to say so stands in the form of the hands, and nowhere else.
    of_hands = page.split('action="/infrared/1/hands"')[1].split("</form>")[0]
    assert 'name="meant_there"' in of_hands and page.count('name="meant_there"') == 1
    meant = browser.post("/infrared/1/hands", data={"do": "shoot", "meant_there": "yes"})
    assert meant.status_code == 303
    taken = events_of(desk.store, 1)[-1]
    assert taken.kind == Kind.SHOT and taken.payload["meant_there"] is True
    assert taken.payload["reference_c"] == pytest.approx(71.0, abs=0.1)


def test_simulated_hands_before_a_drifting_target_are_told_to_wait_on_the_page(browser, desk, bench):
    begin(browser, **AT_A_STATION)
    set_up(browser)
    settle(bench, 60.0)
    bench.heater_c = 70.0
    bench.read(60)
    answer = browser.post("/infrared/1/hands", data={"do": "shoot"})
    assert answer.status_code == 422 and "The target drifts by" in answer.text
    assert "Let the simulated hands shoot" in answer.text
    assert events_of(desk.store, 1)[-1].kind == Kind.SET_UP_DONE


def test_simulated_hands_take_no_more_shots_than_a_person_may(browser, desk, bench):
    begin(browser, **AT_A_STATION)
    set_up(browser)
    settle(bench, 60.0)
    for _ in range(12):
        assert shot(browser, "60.2").status_code == 303
    answer = browser.post("/infrared/1/hands", data={"do": "shoot"})
    assert answer.status_code == 422 and "12 shots are enough here" in answer.text


def test_what_simulated_hands_did_for_one_set_point_is_not_said_of_the_next(browser, bench):
    begin(browser, **AT_A_STATION)
    set_up(browser)
    settle(bench, 59.5)
    browser.post("/infrared/1/hands", data={"do": "heat"})
    assert "set the heater to 60 °C" in text_of(browser, "/infrared/1")
    settle(bench, 60.0)
    for _ in range(3):
        assert shot(browser, "60.2").status_code == 303
    press(browser, 5)
    page = text_of(browser, "/infrared/1")
    assert "about 75 °C" in page and "set the heater" not in page
    browser.post("/infrared/1/hands", data={"do": "heat"})
    assert "set the heater to 75 °C" in text_of(browser, "/infrared/1")
