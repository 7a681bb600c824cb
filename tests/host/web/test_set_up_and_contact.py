"""A whole check from the form: setting up step by step, plateaus, and the connector moved at the end."""

import re

import pytest

from calibration.diagnosis.fault import Fault
from host.certificates.canonical import certificate_from_canonical
from host.procedures.event import Event
from host.procedures.sender.burst_watch import contact_of
from host.procedures.sender.sender_check import state_of
from host.procedures.sender.set_up_steps import SET_UP_STEPS

pytestmark = pytest.mark.slow

FORM = {
    "item": "Sender, tag 7",
    "curve": "ntc-310-80c",
    "set_points": "30 60 85",
    "scale": "c",
    "job": "JOB 7731: reads low on the motorway",
    "wiring": "two terminals, body apart",
    "connector_notes": "green with corrosion",
    "move_connector": "yes",
}


@pytest.fixture(autouse=True)
def _some_resistance(bench):
    bench.series_ohm = 5.0  # or sender and probe would share every digit of the bath's wobble


def begin(browser, **changes) -> int:
    answer = browser.post("/stations/bench-1/sender-check", data={**FORM, **changes})
    assert answer.status_code == 303
    return int(answer.location.rsplit("/", 1)[1])


def press(browser, desk, run: int, **answer) -> None:
    browser.post(f"/runs/{run}/press", data={"step": str(desk.runs.view(run).card.step), **answer})


def paper_of(desk, run: int):
    assert desk.runs.view(run).state.reason is None
    (issued,) = desk.store.certificates.of_run(run)
    return certificate_from_canonical(issued.files.canonical_json)


def instruction(browser, run: int) -> str:
    return re.search(r'class="instruction">([^<]*)<', browser.get(f"/runs/{run}").text)[1]


def test_setting_up_is_asked_one_step_at_a_time_each_with_its_caution(browser, desk, bench):
    run = begin(browser)
    press(browser, desk, run)
    asked = []
    while desk.runs.view(run).state.set_up_step is not None:
        page = browser.get(f"/runs/{run}").text
        assert page.count('class="caution"') == 1
        assert page.count('class="thumb"') == 1
        asked.append(desk.runs.view(run).card.instruction)
        press(browser, desk, run)
    assert asked == [step.instruction for step in SET_UP_STEPS.values()]
    assert desk.runs.view(run).state.phase.value == "ohms_check"


def test_a_whole_check_carries_what_was_declared_and_what_moving_the_connector_showed(browser, desk, bench):
    bench.has_loose_contact = True
    run = begin(browser)
    desk.let_hands_finish(run, bench=bench)
    paper = paper_of(desk, run)
    conditions = dict(paper.conditions)
    assert conditions["job"] == FORM["job"]
    assert conditions["wiring"] == FORM["wiring"]
    assert conditions["connector"] == FORM["connector_notes"]
    assert "terminals dry" in conditions["set up"]
    assert "an intermittent contact" in conditions["connector moved"]
    assert paper.opinions[0].startswith("Most likely an intermittent contact")
    assert any(cited.startswith("connector moved: bench-1, boot") for cited in paper.citations)
    page = browser.get(f"/runs/{run}").text
    assert "intermittent contact" in page
    assert "Nothing is to be done to this sender" not in page
    assert "open 14 % of the time" in conditions["connector moved"]  # 7 of 50
    state = desk.runs.view(run).state
    packs = desk.store.readings("bench-1", state.burst.boot, state.burst.first, state.burst.last)
    contact = contact_of(packs)
    assert contact is not None
    assert contact.fault is Fault.INTERMITTENT
    assert contact.open_share == pytest.approx(7 / 50)  # 3, 10, ..., 45 of 50


def test_a_steady_contact_is_a_condition_and_no_opinion(browser, desk, bench):
    run = begin(browser)
    desk.let_hands_finish(run, bench=bench)
    paper = paper_of(desk, run)
    assert dict(paper.conditions)["connector moved"].startswith("a steady contact")
    assert not any("intermittent" in opinion for opinion in paper.opinions)


def test_a_sender_that_cannot_go_deep_is_corrected_by_the_wider_stem(browser, desk, bench):
    run = begin(browser, move_connector="")
    press(browser, desk, run)
    press(browser, desk, run, answer="other")
    assert desk.runs.view(run).state.immersion == "hex_in_air"
    desk.let_hands_finish(run, bench=bench)
    paper = paper_of(desk, run)
    assert dict(paper.conditions)["immersion"] == "25 mm deep, hex in air"
    deep = begin(browser, move_connector="")
    bench.bath_c = 22.0
    desk.let_hands_finish(deep, bench=bench)
    stem = [
        next(line for line in one.points[-1].budget.lines if line.quantity == "sender: stem")
        for one in (paper, paper_of(desk, deep))
    ]
    assert stem[0].estimate > stem[1].estimate
    assert stem[0].standard_u > stem[1].standard_u


def test_moving_the_connector_may_be_left_out_at_the_bench(browser, desk, bench):
    run = begin(browser)
    desk.lead_until_phase(run, "contact", bench=bench)
    assert "Switch the heater off. Then take the connector" in instruction(browser, run)
    press(browser, desk, run, answer="other")
    desk.let_hands_finish(run, bench=bench)
    assert "connector moved" not in dict(paper_of(desk, run).conditions)


def test_the_log_alone_makes_the_state_again(browser, desk, bench):
    bench.has_loose_contact = True
    run = begin(browser)
    desk.let_hands_finish(run, bench=bench)
    events = [Event(kind=kind, payload=payload) for kind, payload in desk.store.runs.events(run)]
    whole = desk.runs.view(run).state
    for length in range(1, len(events)):
        middle = state_of(events[:length])
        assert not middle.is_over
    assert state_of(events) == whole


@pytest.mark.parametrize(
    ("field", "typed"), [("wiring", "welded to the moon"), ("job", "传感器"), ("connector_notes", "x" * 200)]
)
def test_what_cannot_be_printed_of_job_and_connector_is_said_beside_its_field(
    browser, desk, bench, field, typed
):
    answer = browser.post("/stations/bench-1/sender-check", data={**FORM, field: typed})
    assert answer.status_code == 422
    assert f'id="{field}-wrong"' in answer.text
    assert desk.store.runs.all() == []
