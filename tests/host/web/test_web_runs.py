import re

import pytest

pytestmark = pytest.mark.slow

GOOD = {
    "item": "Sender, tag 7",
    "curve": "ntc-310-80c",
    "set_points": "30 60 85",
    "limit_k": "",
    "customer": "",
    "operator": "Ida",
    "scale": "c",
}


@pytest.fixture
def run(desk, bench):
    return desk.runs.start_sender_check(
        station="bench-1", item="Sender, tag 7", curve="ntc-310-80c", set_points_c=(30.0, 60.0, 85.0)
    )


def instruction(page: str) -> str:
    found = re.search(r'class="instruction">([^<]*)<', page)
    assert found is not None
    return found[1]


def test_a_good_form_starts_a_run_and_leads_to_its_card(browser, desk, bench):
    answer = browser.post("/stations/bench-1/sender-check", data=GOOD)
    assert answer.status_code == 303
    assert answer.location == "/runs/1"
    page = browser.get("/runs/1").text
    assert "Step 1 of 10" in page
    assert instruction(page).startswith("Hang the sender beside the probe")
    assert "Simulated bench" in page
    assert desk.runs.view(1).state.started.operator == "Ida"


def test_contact_place_and_day_of_receipt_go_with_the_check(browser, desk, bench):
    said = {"customer_contact": "2 Loom Lane", "place": "the yard, bay 4", "received": "2031-05-16"}
    assert browser.post("/stations/bench-1/sender-check", data=GOOD | said).status_code == 303
    kept = desk.runs.view(1).state.started
    assert {name: getattr(kept, name) for name in said} == said


def test_set_points_typed_in_fahrenheit_are_kept_in_celsius(browser, desk, bench):
    answer = browser.post(
        "/stations/bench-1/sender-check", data=GOOD | {"set_points": "86, 140; 185", "scale": "f"}
    )
    assert answer.status_code == 303
    assert desk.runs.view(1).state.started.set_points_c == (30.0, 60.0, 85.0)


@pytest.mark.parametrize(
    ("field", "typed", "words"),
    [
        ("item", " ", "Write what is checked"),
        ("received", "16.5.2031", "as year, month and day"),
        ("received", "2031-02-30", "as year, month and day"),
        ("item", "sender 传感器", "not in the fonts"),
        ("curve", "no-such-curve", "Choose a curve"),
        ("set_points", "30 sixty 85", "Write numbers"),
        ("set_points", "30 6_0 85", "Write numbers"),
        ("set_points", "30 ٦٠ 85", "Write numbers"),
        ("set_points", "30 60", "there are 2 here"),
        ("set_points", "30 30 60", "there are 2 here"),
        ("set_points", "30 60 120", "covers 0 to 100"),
        ("set_points", "30 60 95", "outside the curve ntc-310-80c"),
        ("set_points", "nan 60 85", "Write numbers"),
        ("limit_k", "two", "Write a number of kelvin"),
        ("limit_k", "-1", "Write a number of kelvin"),
        ("limit_k", "inf", "Write a number of kelvin"),
    ],
)
def test_what_cannot_be_started_is_said_beside_its_field(browser, desk, bench, field, typed, words):
    answer = browser.post("/stations/bench-1/sender-check", data=GOOD | {field: typed})
    assert answer.status_code == 422
    beside = re.search(rf'id="{field}-wrong">([^<]*)<', answer.text)
    assert beside is not None
    assert words in beside[1].replace("\u00a0", " ")
    assert desk.store.runs.all() == []


def test_a_curve_without_tolerance_asks_for_a_limit_and_takes_it(browser, desk, bench):
    typed = GOOD | {"curve": "ntc-2k5-20c"}
    refused = browser.post("/stations/bench-1/sender-check", data=typed)
    assert refused.status_code == 422
    assert "printed without a tolerance" in refused.text
    assert browser.post("/stations/bench-1/sender-check", data=typed | {"limit_k": "2.5"}).status_code == 303
    assert desk.runs.view(1).state.started.limit_k == 2.5


def test_what_the_desk_refuses_is_said_in_the_form_and_what_was_typed_stays(browser, desk):
    desk.add_bench()
    answer = browser.post("/stations/bench-1/sender-check", data=GOOD)
    assert answer.status_code == 422
    assert "has sent no reading yet" in answer.text
    assert 'value="Sender, tag 7"' in answer.text


def test_the_form_begins_with_what_the_last_run_had(browser, desk, run):
    desk.runs.stop_run(run, "enough")
    page = browser.get("/stations/bench-1?item=Sender,%20tag%207").text
    assert '<option value="ntc-310-80c" selected>' in page
    assert 'value="30 60 85"' in page
    assert 'value="Sender, tag 7"' in page


def test_a_busy_station_leads_to_its_run_instead_of_a_second_form(browser, run):
    page = browser.get("/stations/bench-1").text
    assert "Go on with run 0001" in page
    assert "Start the check" not in page


def test_a_press_advances_the_run_once(browser, desk, run):
    for _ in range(2):
        answer = browser.post("/runs/1/press", data={"step": "1"})
        assert answer.status_code == 303
    assert [kind for kind, _ in desk.store.runs.events(1)].count("sender_fitted") == 1
    assert "Step 2 of 6" in browser.get("/runs/1/card").text


def test_a_press_meant_for_another_step_changes_nothing(browser, desk, run):
    browser.post("/runs/1/press", data={"step": "4"})
    assert desk.runs.view(1).card.step == 1


def test_the_card_says_every_temperature_on_both_scales(browser, desk, bench, run):
    browser.post("/runs/1/press", data={"step": "1"})
    desk.lead_until(lambda: desk.runs.view(1).card.step == 3, bench=bench)
    card = browser.get("/runs/1/card").text.replace("\u00a0", " ")
    assert "30 °C (86 °F)" in instruction(card)
    turned = browser.get("/runs/1/card?scale=f").text.replace("\u00a0", " ")
    assert "86 °F (30 °C)" in instruction(turned)


def test_trouble_speaks_in_the_step_card(browser, desk, bench, run):
    bench.say(trouble=("no answer from the probe for 6 s: check the plug at J2",), connect=2)
    card = browser.get("/runs/1/card").text.replace("\u00a0", " ")
    assert "No answer from the probe for 6 s: check the plug at J2" in card


def test_the_mark_of_a_card_changes_with_the_card_alone(browser, desk, bench, run, events_of):
    def streamed() -> dict:
        answer = browser.get("/stations/bench-1/live", buffered=False)
        pieces = answer.iter_encoded()
        text = next(pieces).decode() + next(pieces).decode()
        answer.close()
        return events_of(text)[0]

    page = browser.get("/runs/1").text
    mark = re.search(r'data-mark="([0-9a-f]{8})"', page)[1]
    assert (streamed()["run"], streamed()["card"]) == (1, mark)
    bench.read(4)
    assert streamed()["card"] == mark
    browser.post("/runs/1/press", data={"step": "1"})
    assert streamed()["card"] != mark


def test_the_simulated_hands_do_what_the_card_asks(browser, desk, bench, run):
    assert "Let the simulated hands do it" in browser.get("/runs/1").text
    assert browser.post("/runs/1/hands").status_code == 303
    assert desk.runs.view(1).card.step == 2


def test_a_real_bench_has_no_simulated_hands(browser, desk):
    real = desk.add_bench("bench-7", simulated=False, real_papers=True)
    real.say()
    real.read(4)
    run = desk.runs.start_sender_check(
        station="bench-7", item="Sender", curve="ntc-310-80c", set_points_c=(30.0, 60.0, 85.0)
    )
    assert "simulated hands" not in browser.get(f"/runs/{run}").text
    refused = browser.post(f"/runs/{run}/hands")
    assert refused.status_code == 409
    assert "real bench" in refused.text


def test_a_desk_without_hands_offers_none(browser, desk, run):
    desk.hands = None
    assert "simulated hands" not in browser.get("/runs/1").text
    assert browser.post("/runs/1/hands").status_code == 409


def test_a_stopped_run_says_why_and_what_next(browser, desk, run):
    answer = browser.post("/runs/1/stop", data={"reason": " The jug\r\n leaks. "})
    assert answer.status_code == 303
    page = browser.get("/runs/1").text
    assert instruction(page) == "The jug leaks."
    assert "What next" in page
    assert "Start the check again" in page
    assert browser.post("/runs/1/stop", data={"reason": "again"}).status_code == 303
    assert desk.runs.view(1).state.reason == "The jug leaks."


def test_a_press_on_a_run_that_is_over_changes_nothing(browser, desk, run):
    desk.runs.stop_run(run, "enough")
    for what in ("press", "hands"):
        assert browser.post(f"/runs/1/{what}").status_code == 303
    assert desk.runs.view(1).state.reason == "enough"


def test_a_page_still_open_learns_from_the_card_that_the_run_is_over(browser, desk, run):
    assert "data-over" not in browser.get("/runs/1/card").text
    desk.runs.stop_run(run, "enough")
    assert "data-over" in browser.get("/runs/1/card").text


@pytest.mark.parametrize(
    "path", ["/runs/9", "/runs/9/card", "/certificates/000009.pdf", "/certificates/x.json"]
)
def test_what_is_not_there_is_said_in_words(browser, bench, path):
    page = browser.get(path)
    assert page.status_code == 404
    assert "There is no" in page.text


def test_the_list_of_runs_says_where_each_stands(browser, desk, run):
    assert "open" in browser.get("/runs").text
    desk.runs.stop_run(run, "enough")
    page = browser.get("/runs").text
    assert "stopped" in page
    assert "simulated" in page
    assert "Sender, tag 7" in page


def test_empty_lists_say_where_to_begin(browser):
    assert "start a sender check" in browser.get("/runs").text
    assert "No certificate yet" in browser.get("/certificates").text


def test_a_decimal_comma_among_set_points_is_refused_and_never_guessed_at(browser, desk, bench):
    answer = browser.post("/stations/bench-1/sender-check", data=GOOD | {"set_points": "30,5 60,5 85,5"})
    assert answer.status_code == 422
    assert "decimals with a point" in answer.get_data(as_text=True)
    assert desk.store.runs.all() == []
