from datetime import UTC, datetime

import pytest

from host.errors import DeskError
from host.store.settings import SETTINGS

pytestmark = pytest.mark.slow


def test_the_page_keeps_what_was_typed_and_every_page_says_the_shop(browser, desk):
    answer = browser.post("/settings", data={"shop_name": "Heron & Sons", "rule": "simple"})
    assert answer.status_code == 303
    assert desk.store.settings.read().shop.name == "Heron & Sons"
    assert "Heron &amp; Sons" in browser.get("/runs").text
    page = browser.get("/settings").text
    assert 'value="Heron &amp; Sons"' in page
    assert '<option value="simple" selected>' in page
    assert all(f'name="{setting.name}"' in page for setting in SETTINGS)


def test_a_wrong_field_is_said_beside_it_and_nothing_is_lost(browser, desk):
    before = desk.store.settings.texts()
    typed = {"shop_name": "Heron", "time_zone": "Mars/Olympus", "recalibrate_probe_months": "yearly"}
    answer = browser.post("/settings", data=typed)
    assert answer.status_code == 422
    for text in typed.values():
        assert f'value="{text}"' in answer.text
    assert 'id="time_zone-wrong">' in answer.text
    assert 'id="recalibrate_probe_months-wrong">' in answer.text
    assert 'id="shop_name-wrong">' not in answer.text
    assert desk.store.settings.texts() == before


def test_pages_begin_with_the_scale_of_the_shop_until_their_reader_chooses(browser, desk, bench):
    desk.store.settings.change({"scale": "f"})
    assert "Temperatures, °F" in browser.get("/stations/bench-1").text
    browser.get("/stations/bench-1?scale=c")
    assert "Temperatures, °C" in browser.get("/stations/bench-1").text


def test_times_are_those_of_the_shop(desk, bench, browser):
    run = desk.runs.start_sender_check(
        station="bench-1", item="Sender", curve="ntc-310-80c", set_points_c=(30.0, 60.0, 85.0)
    )
    began_utc_s = desk.store.runs.get(run).started_utc_s
    desk.store.settings.change({"time_zone": "Asia/Kolkata"})
    page = browser.get("/runs").text
    in_india = datetime.fromtimestamp(began_utc_s + 5.5 * 3600, UTC)  # +5:30 all year
    assert in_india.strftime("begun %Y-%m-%d %H:%M") in page
    assert "Asia/Kolkata" in page


def test_the_start_form_proposes_the_rule_of_the_shop_and_the_run_takes_the_one_chosen(browser, desk, bench):
    desk.store.settings.change({"rule": "simple"})
    page = browser.get("/stations/bench-1").text
    assert '<option value="simple" selected>' in page
    form = {"item": "Sender", "curve": "ntc-310-80c", "set_points": "30 60 85", "rule": "guarded"}
    wrong = browser.post("/stations/bench-1/sender-check", data=form | {"rule": "lenient"})
    assert wrong.status_code == 422
    assert "Choose a rule" in wrong.text
    assert browser.post("/stations/bench-1/sender-check", data=form).status_code == 303
    assert desk.runs.view(1).state.started.rule == "guarded"


def test_the_shops_own_interval_makes_a_certificate_without_a_due_date_due(desk, bench):
    desk.store.register.add_text(PROBE_WITHOUT_DUE_DATE)
    check = {
        "station": "bench-1",
        "item": "Sender",
        "curve": "ntc-310-80c",
        "set_points_c": (30.0, 60.0, 85.0),
    }
    desk.store.settings.change({"recalibrate_probe_months": "12"})
    with pytest.raises(DeskError, match="was due on 2021-01-01"):
        desk.runs.start_sender_check(**check)
    desk.store.settings.change({"recalibrate_probe_months": ""})
    assert desk.runs.start_sender_check(**check) == 1


PROBE_WITHOUT_DUE_DATE = """
kind = "probe"
serial = "P-2"
certificate = "C-9"
issuer = "nobody at all"
issued = 2020-01-01
simulated = true
model = "steinhart_hart"
a = 1.129241e-3
b = 2.341077e-4
c = 8.775468e-8
expanded_u_k = 0.05
k = 2.0
valid_from_c = 0.0
valid_to_c = 100.0
"""
