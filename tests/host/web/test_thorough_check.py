"""The thorough way from the form to the certificate: currents, depths and places, step by step."""

import re

import pytest

from host.certificates.canonical import certificate_from_canonical
from host.curve_to_find import FIND_OUT
from host.procedures.sender.sender_check_state import Phase
from host.procedures.sender.trials import TRIAL_STEPS

pytestmark = pytest.mark.slow

FORM = {
    "item": "Sender, tag 9",
    "curve": "ntc-310-80c",
    "set_points": "30 60 85",
    "scale": "c",
    "trials": "all",
}


@pytest.fixture(autouse=True)
def _some_resistance(bench):
    bench.heats_by_k = 0.4  # nothing here hangs on the way up
    bench.series_ohm = 5.0  # or sender and probe would share every digit of the bath's wobble


def begin(browser, **changes):
    return browser.post("/stations/bench-1/sender-check", data={**FORM, **changes})


def run_of(answer) -> int:
    assert answer.status_code == 303
    return int(answer.location.rsplit("/", 1)[1])


def press(browser, desk, run: int, **answer) -> None:
    browser.post(f"/runs/{run}/press", data={"step": str(desk.runs.view(run).card.step), **answer})


def paper_of(desk, run: int):
    assert desk.runs.view(run).state.reason is None
    (issued,) = desk.store.certificates.of_run(run)
    return certificate_from_canonical(issued.files.canonical_json)


def test_the_form_offers_the_usual_way_the_thorough_one_and_each_part_alone(browser, bench):
    page = browser.get("/stations/bench-1").text
    offered = re.findall(r'type="radio" name="trials" value="([^"]*)"( checked)?', page)
    assert offered == [("", " checked"), ("all", ""), ("currents", ""), ("depths", ""), ("places", "")]
    assert re.search(r"Thorough: about \d+ minutes more, smaller U", page)


def test_a_way_that_is_not_offered_is_refused_beside_it(browser, desk, bench):
    answer = begin(browser, trials="twice")
    assert answer.status_code == 422
    assert 'id="trials-wrong"' in answer.text
    assert desk.store.runs.all() == []


def test_a_rig_that_does_not_say_its_duty_is_refused_the_currents_in_words(browser, desk, bench):
    bench.sender_duty = None
    bench.read(4)
    answer = begin(browser)
    assert answer.status_code == 422
    assert "does not say for how long the sender carries current" in answer.text
    assert run_of(begin(browser, trials="depths"))


def test_a_thorough_check_finds_stem_and_gradient_and_says_so_on_the_certificate(browser, desk, bench):
    bench.stem_share, bench.gradient_k = 0.001, 0.02
    run = run_of(begin(browser))
    instructions, steps, pages = [], [], []

    def is_over() -> bool:
        view = desk.runs.view(run)
        if view.state.phase is Phase.TRIALS:
            steps.append(view.card.step)
            if view.card.button is not None:
                instructions.append(view.card.instruction)
                pages.append(browser.get(f"/runs/{run}").text)
        desk.hands.watch((view,))
        return view.state.is_over

    desk.lead_until(is_over, bench=bench)
    assert [words.split(".")[0] for words in instructions] == ["Heater off"] * 3
    assert "15 mm" in instructions[0]
    for page in pages:
        assert page.count('class="caution"') == 1
        assert "scald" in page
        assert "eye protection" in page
        assert page.count('class="thumb"') == 1
    assert steps == sorted(steps)
    assert len(set(steps)) == len(TRIAL_STEPS)
    assert (bench.sender_duty, bench.drawn_out_mm, bench.has_changed_places) == (0.25, 0.0, True)
    paper = paper_of(desk, run)
    conditions = dict(paper.conditions)
    # 0.001 (exp(15/14) - 1) of 62.7 K; the places differ by 0.02 K
    fell_k = float(re.search(r"it read ([.0-9]+) K lower", conditions["two depths"])[1])
    differed_k = float(re.search(r"differed by ([-+.0-9]+) K", conditions["probe and sender swapped"])[1])
    assert fell_k == pytest.approx(0.120, abs=0.01)
    assert differed_k == pytest.approx(0.020, abs=0.005)
    stem = next(line for line in paper.points[-1].budget.lines if line.quantity.startswith("sender: stem"))
    assert stem.quantity == "sender: stem, by two depths"
    assert stem.estimate == pytest.approx(0.0627, abs=2.0 * stem.standard_u)
    assert "two depths" in browser.get(f"/runs/{run}").text


def test_one_part_alone_asks_for_that_part_alone(browser, desk, bench):
    run = run_of(begin(browser, trials="places"))
    desk.let_hands_finish(run, bench=bench)
    assert set(desk.runs.view(run).state.trial_windows) == {"changed_places"}
    paper = paper_of(desk, run)
    assert "probe and sender swapped" in dict(paper.conditions)
    assert "gradient measured on this sender" in paper.remarks[0]
    assert "stem share and dissipation assumed and not measured" in paper.remarks[0]


def test_a_sender_whose_curve_is_to_be_found_out_can_be_read_thoroughly(browser, desk, bench):
    bench.stem_share = 0.001
    run = run_of(begin(browser, curve=FIND_OUT, trials="depths"))
    desk.lead_until_phase(run, "choosing", bench=bench)
    assert [trial.value for trial in desk.runs.view(run).state.trials_read] == ["depths"]
    browser.post(f"/runs/{run}/curve", data={"curve": "ntc-310-80c"})
    desk.lead()
    assert "it read 0.1" in dict(paper_of(desk, run).conditions)["two depths"]


def test_depths_and_places_may_be_left_out_at_the_bench_and_the_certificate_says_so(browser, desk, bench):
    run = run_of(begin(browser))
    desk.lead_until_phase(run, "trials", bench=bench)
    desk.lead_until(lambda: desk.runs.view(run).card.button is not None, bench=bench)
    press(browser, desk, run, answer="other")
    assert desk.runs.view(run).state.trial_step == "changed_places"
    press(browser, desk, run, answer="other")
    desk.let_hands_finish(run, bench=bench)
    conditions = dict(paper_of(desk, run).conditions)
    assert conditions["two depths"] == conditions["probe and sender swapped"] == "left out: at the bench"


def test_a_run_that_is_stopped_while_the_current_is_on_all_the_time_takes_it_away(browser, desk, bench):
    run = run_of(begin(browser, trials="currents"))
    desk.lead_until_phase(run, "trials", bench=bench)
    desk.lead_until(lambda: bench.sender_duty == 1.0, bench=bench)
    bench.read(8)
    browser.post(f"/runs/{run}/stop", data={"reason": "the bell rang"})
    assert desk.runs.view(run).state.phase is Phase.STOPPED
    assert bench.sender_duty == 0.25
