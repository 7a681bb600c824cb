"""What the form of an infrared check refuses beside its fields, and what it keeps."""

import re

import pytest

from tests.host.web.infrared.steps import begin, plain

pytestmark = pytest.mark.slow


def test_a_target_too_small_for_the_distance_is_refused_beside_the_field(browser):
    answer = begin(browser, distance_mm="900")
    assert answer.status_code == 422
    assert "needs a target of 150 mm" in answer.text and "Go as close as 600 mm" in answer.text
    assert 'value="Infrared thermometer, tag I-7"' in answer.text


def test_a_plate_that_is_too_narrow_is_refused_beside_its_field_and_a_narrow_cavity_is_not(browser):
    answer = begin(browser, target_mm="60", distance_mm="100")
    assert answer.status_code == 422 and "needs 100 mm or more across" in plain(answer)
    assert begin(browser, target_mm="60", distance_mm="100", target="immersed_cavity").status_code == 303


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"set_points": "90"}, "Write 3 to 8 temperatures"),
        ({"set_points": "45 90"}, "Write 3 to 8 temperatures"),
        ({"set_points": "89 90 90.5"}, "as good as one"),
        ({"set_points": "80 86 92"}, "They span 12 K"),
        ({"set_points": "20 25 60"}, "A target of 20 °C in a room of 23 °C shows little but the room"),
        ({"air": "200"}, "200 °C stands here"),
        ({"air": "4"}, "4 °C stands here"),
        ({"air": "35", "set_points": "45 65 90"}, "choose 50 °C or more"),
    ],
)
def test_set_points_that_say_too_little_and_air_that_is_no_room_are_refused(browser, changed, words):
    answer = begin(browser, **changed)
    assert answer.status_code == 422 and words in plain(answer)


def test_contact_place_and_day_of_receipt_are_asked_for_and_kept(browser, desk):
    came = {"customer_contact": "2 Loom Lane", "place": "the yard, bay 4", "received": "2031-05-16"}
    refused = begin(browser, **came | {"received": "yesterday"})
    assert refused.status_code == 422 and "as year, month and day" in refused.text
    assert begin(browser, **came).status_code == 303
    kept = desk.store.runs.get(1).settings
    assert {name: kept[name] for name in came} == came


def test_a_fixed_emissivity_cannot_be_set_to_another(browser):
    answer = begin(browser, emissivity="0.95", set_emissivity="0.9")
    assert answer.status_code == 422 and "fixed at an emissivity of 0.95" in answer.text


@pytest.mark.parametrize("typed", ["0.05", "0.09"])
def test_an_emissivity_that_no_thermometer_is_set_to_is_refused_beside_its_field(browser, typed):
    answer = begin(browser, set_emissivity=typed)
    assert answer.status_code == 422 and "No thermometer is set to an emissivity of" in answer.text


def test_a_start_without_anything_says_what_is_missing_beside_each_field(browser):
    answer = browser.post("/infrared", data={"item": ""})
    assert answer.status_code == 422
    for words in ("Write what is checked", "Choose a thermometer", "Choose what says how hot", "Choose how"):
        assert words in answer.text


def test_what_a_form_refuses_names_its_labels_and_lengths_as_a_ruler_does(browser):
    lone = plain(begin(browser, accuracy_k="", accuracy_percent="2"))
    turned = plain(begin(browser, band_from_um="14", band_to_um="8"))
    for page in (lone, turned):
        said = " ".join(re.findall(r'class="error"[^>]*>([^<]*)<', page))
        assert said and "_" not in said, said
    far = plain(begin(browser, distance_mm="1000", distance_to_spot="1", target_mm="300"))
    assert "At 1000 mm the spot is 1000 mm wide and needs a target of 2000 mm" in far
    assert "e+0" not in far
