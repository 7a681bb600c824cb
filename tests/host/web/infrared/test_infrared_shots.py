"""Shots typed by hand: what is asked about them, and what changes nothing."""

import re
from dataclasses import replace

import pytest

from host.certificates.canonical import certificate_from_canonical
from host.procedures.infrared.infrared_runs import InfraredRuns
from host.procedures.logged import events_of
from host.procedures.record.issued_record import record_in_store
from host.procedures.record.recompute import recompute
from tests.host.web.infrared.steps import begin, plain, press, set_up, shot, text_of, whole_rest

pytestmark = pytest.mark.slow


def test_a_shot_far_from_its_set_point_is_asked_about_and_named_by_what_was_measured(browser, desk):
    begin(browser)
    set_up(browser)
    asked = shot(browser, "54.2", "54")
    assert asked.status_code == 422
    assert "The target is at 54.0 °C" in plain(asked) and "was asked for" in asked.text
    assert 'value="54.2"' in asked.text
    assert shot(browser, "54.2", "54", meant_there="yes").status_code == 303
    for shown in ("54.1", "54.3"):  # near what was measured: nothing more is asked
        assert shot(browser, shown, "54").status_code == 303
    page = text_of(browser, "/infrared/1")
    assert "54 °C" in page.split("Caught so far")[1] and "45 °C" not in page.split("Caught so far")[1]
    press(browser, 5)
    again = shot(browser, "54.2", "55", meant_there="yes")
    assert again.status_code == 422 and "was read already: bring" in plain(again)
    room = shot(browser, "30", "30", meant_there="yes")
    assert room.status_code == 422 and "shows little but the room" in plain(room)
    for step, point in ((6, "65"), (7, "90")):
        for _ in range(3):
            assert shot(browser, point, point).status_code == 303
        press(browser, step)
    press(browser, 8)
    paper = certificate_from_canonical(desk.store.certificates.get("000001").files.canonical_json)
    assert "Instead of 45 °C the target was shot at 54.0 °C, as was said then." in paper.remarks
    assert recompute(record_in_store(desk.store, "000001")).difference is None


def test_a_shot_that_lies_apart_is_asked_about_and_stays_in_the_record(browser, desk):
    begin(browser)
    set_up(browser)
    for shown in ("45", "45.1", "44.9", "45", "52"):
        shot(browser, shown, "45")
    page = text_of(browser, "/infrared/1")
    assert "Does it count?" in page and "Grubbs" in page
    assert browser.post("/infrared/1/answer", data={"shot": "5", "counts": "no"}).status_code == 422
    browser.post("/infrared/1/answer", data={"shot": "5", "counts": "no", "reason": "steam in the way"})
    assert "left out: steam in the way" in text_of(browser, "/infrared/1")
    whole_rest(browser)
    assert "Shot 5 (52.0 °C" in text_of(browser, "/infrared/1")
    data = desk.store.certificates.get("000001").files.canonical_json.decode("utf-8")
    assert "Shot 5 (52.0 °C) was left out: steam in the way" in data


def test_the_question_about_a_shot_says_the_difference_that_lies_apart(browser):
    begin(browser)
    set_up(browser)
    for shown, reference in (("46.8", "45.0"), ("48.9", "47.0"), ("46.9", "45.1"), ("47.0", "47.0")):
        assert shot(browser, shown, reference).status_code == 303
    # 47.0 °C is among what the others showed; 0 K is not among their 1.8 to 1.9 K.
    page = text_of(browser, "/infrared/1")
    asked = re.search(r'class="instruction">([^<]*)<', page)[1]
    assert "Shot 4 said 47.0 °C" in asked and "with the target at 47.0 °C" in asked
    assert "+0.0 K, and the others +1.8 to +1.9 K" in asked


def test_a_page_in_fahrenheit_says_set_points_as_they_were_typed_and_the_paper_says_the_air_in_tenths(
    browser, desk
):
    begin(browser, page_scale="f", set_points="115 150 195", air="73")
    set_up(browser)
    card = text_of(browser, "/infrared/1?scale=f")
    assert "about 115 °F (46.11 °C)" in card and "115.00" not in card
    assert "150 °F" in card and "195 °F" in card
    for step, point in ((5, "115"), (6, "150"), (7, "195")):
        for _ in range(3):
            assert shot(browser, point, point, page_scale="f").status_code == 303
        press(browser, step)
    press(browser, 8)
    data = desk.store.certificates.get("000001").files.canonical_json.decode("utf-8")
    assert "22.8 °C beside the target" in data and "22.7778" not in data
    assert "said 65.56 °C" in str([one.payload for one in events_of(desk.store, 1)])


def test_a_page_that_is_older_than_the_check_changes_nothing(browser):
    begin(browser)
    press(browser, 1)
    press(browser, 1)
    assert "Step 2 of" in text_of(browser, "/infrared/1")
    assert shot(browser, "45").status_code == 409


def test_what_cannot_be_read_is_shown_again_beside_the_field(browser):
    begin(browser)
    set_up(browser)
    answer = shot(browser, "ninety")
    assert answer.status_code == 422 and 'value="ninety"' in answer.text


def test_a_check_that_cannot_be_judged_has_its_page_all_the_same_and_can_be_stopped(browser, desk):
    begin(browser)
    settings = InfraredRuns(desk.store).view(1).state.started
    # As forms of before let it begin.
    run = InfraredRuns(desk.store).start(replace(settings, set_emissivity=0.05))
    set_up(browser, run)
    for shown in ("45", "45.1", "44.9"):
        shot(browser, shown, "45", run)
    page = browser.get(f"/infrared/{run}")
    assert page.status_code == 200
    assert "Nothing can be judged so: no thermometer is set to an emissivity of 0.05" in plain(page)
    assert browser.post(f"/infrared/{run}/stop", data={"reason": "wrong setting"}).status_code == 303
