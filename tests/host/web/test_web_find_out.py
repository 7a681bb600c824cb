"""A sender whose curve nobody knows: ranked, judged once a curve is chosen, and never passed by its fit."""

import re
import shutil
from dataclasses import replace

import pytest

from calibration.conformity import Verdict
from calibration.curves import curve_names, curve_text, load_curve
from calibration.diagnosis.measured_points import points_from_bench
from calibration.identification import identify
from host.certificates.canonical import certificate_from_canonical
from host.curve_to_find import FIND_OUT
from host.procedures.bench_setup import bench_setup_of
from host.procedures.logged import events_of
from host.procedures.sender.hand_check import HandChecks, HandCheckSettings
from host.procedures.sender.sender_check import state_of
from host.procedures.sender.sender_check_state import Phase
from host.procedures.sender.sender_result import bench_points_of
from host.web.app import create_app

pytestmark = pytest.mark.slow

LIBRARY = [load_curve(name) for name in curve_names()]
# A good part of this curve, by its own printed rows.
CURVE = "ntc-310-80c"
POINTS = tuple((f"{t:g}", f"{load_curve(CURVE).nominal_ohm(t):.0f}") for t in (20.0, 60.0, 80.0))
CHOSEN = {"curve": CURVE, "limit_k": "5"}  # by hand U is over the printed limit at 80 °C
BENCH_FORM = {"item": "Sender of no name", "curve": FIND_OUT, "set_points": "30 60 85", "scale": "c"}


def typed(points=POINTS, **more):
    fields = {"item": "sender, tag 7", "curve": FIND_OUT, "rule": "guarded", "judge": "judge", **more}
    for number, (temperature, resistance) in enumerate(points, start=1):
        fields |= {f"temperature_{number}": temperature, f"resistance_{number}": resistance}
    return fields


def paper_of(desk, run: int):
    (issued,) = desk.store.certificates.of_run(run)
    return certificate_from_canonical(issued.files.canonical_json)


def offered(page: str) -> list[str]:
    return re.findall(r'<button class="quiet" name="curve" value="([^"]+)"', page)


@pytest.fixture(scope="module")
def kept_folder(tmp_path_factory, small_desk):
    """Data of a desk on which a run has all its readings and no curve; its sender is a good one."""
    folder = tmp_path_factory.mktemp("to_choose")
    desk = small_desk(folder)
    bench = desk.add_bench()
    bench.say()
    bench.read(40)
    bench.series_ohm = 1.0  # or sender and probe would share every digit of the bath's wobble
    desk.runs.start_sender_check(
        station="bench-1", item="Sender of no name", curve=FIND_OUT, set_points_c=(30.0, 60.0, 85.0)
    )
    desk.lead_until_phase(1, "choosing", bench=bench)
    desk.close()
    return folder


@pytest.fixture
def waiting(tmp_path, kept_folder, small_desk):
    """That desk, started again: run 1 waits for its curve."""
    shutil.copytree(kept_folder, tmp_path / "desk")
    desk = small_desk(tmp_path / "desk")
    bench = desk.benches["bench-1"]
    bench.boot = "00000002-0000abcd"
    bench.series_ohm = 1.0
    bench.say(boot=bench.boot)
    bench.read(400)
    yield desk
    desk.close()


@pytest.fixture
def pages(waiting):
    return create_app(waiting).test_client()


def test_typed_readings_are_ranked_as_identify_ranks_them_and_nothing_is_judged(browser, desk):
    assert browser.post("/typed", data=typed()).location == "/typed/1"
    page = browser.get("/typed/1").text
    settings = HandChecks(desk.store).view(1).settings
    found = HandChecks(desk.store).curves_found(settings)
    first = found.ranked.candidates[0]
    assert f"{100 * first.probability:.1f} %" in page
    assert f"{100 * found.ranked.none_of_these:.1f} %" in page and "none of these" in page
    assert "no verdict yet" in page and desk.store.certificates.all() == []
    assert CURVE in offered(page)


def test_a_good_part_is_not_certified_as_in_tolerance_of_the_curve_that_fits_it(browser, desk):
    browser.post("/typed", data=typed())
    assert browser.post("/typed/1/curve", data=CHOSEN | {"operator": "Ida"}).location == "/typed/1"
    paper = paper_of(desk, 1)
    assert paper.verdict is Verdict.NOT_DECIDED
    assert {point.verdict for point in paper.points} == {Verdict.NOT_DECIDED}
    assert "follows ntc-310-80c within its limits at all 3 temperatures" in paper.sentence
    assert "chosen because it fits" in paper.remarks[0]
    assert re.search(
        rf"{CURVE}, chosen by Ida on 20\d\d-\d\d-\d\d .* UTC.* probability of [\d.]+ %, none of them",
        dict(paper.conditions)["curve chosen"],
    )
    page = browser.get("/typed/1").text
    assert "The curve was chosen from readings of this sender" in page and "chosen by Ida" in page
    # The same readings against a curve that was named beforehand do pass.
    browser.post("/typed", data=typed(curve=CURVE, limit_k="5"))
    assert paper_of(desk, 2).verdict is Verdict.IN_TOLERANCE


def test_a_part_off_the_chosen_curve_is_still_told_so(browser, desk):
    browser.post("/typed", data=typed((("20", "2506"), ("60", "604"), ("80", "380"))))
    browser.post("/typed/1/curve", data={"curve": CURVE})
    paper = paper_of(desk, 1)
    assert paper.verdict is Verdict.OUT_OF_TOLERANCE
    assert paper.sentence.endswith("The curve was chosen from readings of this sender.")


def test_the_choice_is_an_event_made_once_and_a_line_of_the_audit_list(browser, desk):
    browser.post("/typed", data=typed())
    browser.post("/typed/1/curve", data={"curve": CURVE})
    browser.post("/typed/1/curve", data={"curve": "ntc-2k5-20c", "limit_k": "2"})
    kinds = [kind for kind, _ in desk.store.runs.events(1)]
    assert kinds == ["started", "curve_chosen", "result"]
    assert desk.store.runs.events(1)[1][1]["curve"] == CURVE
    assert "chose the curve of a run" in [entry.deed for entry in desk.store.audit.newest(9)]


def test_a_curve_without_a_tolerance_asks_for_a_limit_and_keeps_what_was_typed(browser, desk):
    browser.post("/typed", data=typed())
    answer = browser.post("/typed/1/curve", data={"curve": "ntc-2k5-20c", "operator": "Ida"})
    assert answer.status_code == 422
    assert re.search(r'id="limit_k-wrong">[^<]*without a tolerance', answer.text)
    assert 'value="Ida"' in answer.text
    assert browser.post("/typed/1/curve", data={"curve": "ntc-2k5-20c", "limit_k": "3"}).status_code == 303
    assert paper_of(desk, 1).body.curve == "ntc-2k5-20c"


def test_no_curve_is_ranked_from_one_temperature(browser, desk):
    answer = browser.post("/typed", data=typed((("20", "2506"), ("80", "OL"))))
    assert answer.status_code == 422 and "two temperatures or more" in answer.text
    assert desk.store.runs.all() == []


def test_a_desk_that_was_killed_after_the_choice_issues_the_paper_when_it_is_asked_for(browser, desk):
    browser.post("/typed", data=typed())
    checks = HandChecks(desk.store)
    settings = checks.view(1).settings
    choice = checks.curves_found(settings).choice(CURVE, desk.store, limit_k=None, by="", chosen="then")
    desk.store.runs.append(1, "curve_chosen", choice.as_json(), after=1)
    assert "certificate 000001" in browser.get("/typed/1").text
    assert paper_of(desk, 1).verdict is Verdict.NOT_DECIDED


def test_typed_again_the_same_readings_do_not_pass_by_the_back_door(browser):
    browser.post("/typed", data=typed())
    browser.post("/typed/1/curve", data={"curve": CURVE})
    assert f'<option value="{FIND_OUT}" selected>' in browser.get("/typed?again=1").text


def test_settings_of_a_typed_run_come_back_from_its_events(browser, desk):
    browser.post("/typed", data=typed())
    browser.post("/typed/1/curve", data={"curve": CURVE})
    settings = HandChecks(desk.store).view(1).settings
    assert HandCheckSettings.from_json(settings.as_json()) == settings


def test_at_the_bench_the_right_curve_is_among_the_first_and_the_bench_is_free(pages, waiting):
    page = pages.get("/runs/1").text
    assert "no verdict yet" in page and "Heater off" in page
    assert CURVE in offered(page)
    assert waiting.store.certificates.all() == []
    assert waiting.runs.open_run_of("bench-1") is None
    assert pages.post("/stations/bench-1/sender-check", data=BENCH_FORM).status_code == 303


def test_at_the_bench_one_press_judges_the_same_readings(pages, waiting):
    cited = [window.citation for window in waiting.runs.view(1).state.windows]
    assert pages.post("/runs/1/curve", data={"curve": CURVE}).status_code == 303
    state = waiting.runs.view(1).state
    assert state.phase is Phase.DONE and [window.citation for window in state.windows] == cited
    paper = paper_of(waiting, 1)
    assert paper.verdict is Verdict.NOT_DECIDED and "follows ntc-310-80c" in paper.sentence
    assert state_of(events_of(waiting.store, 1)) == state
    assert "The curve was chosen from readings of this sender" in pages.get("/runs/1").text


def test_a_second_check_of_that_sender_as_left_carries_the_choice_on(pages, waiting):
    pages.post("/runs/1/curve", data={"curve": CURVE})
    again = {**BENCH_FORM, "curve": CURVE, "as_left_of": "1", "done": "terminals dried"}
    run = int(pages.post("/stations/bench-1/sender-check", data=again).location.rsplit("/", 1)[1])
    waiting.let_hands_finish(run, bench=waiting.benches["bench-1"])
    assert paper_of(waiting, run).verdict is Verdict.NOT_DECIDED


def test_the_stand_in_ranks_the_curves_as_the_right_curve_would(waiting):
    """Budgets worked out with the slope of the true curve give the same probabilities, to a few per cent."""
    found = waiting.runs.curves_found(1).ranked
    state = waiting.runs.view(1).state
    known = replace(state.started, curve=CURVE, curve_text=curve_text(CURVE))
    with_it = replace(state, settings=known)

    def readings_of(cited):
        return waiting.store.readings(cited.station, cited.boot, cited.first, cited.last)

    setup = bench_setup_of(with_it, readings_of)
    points = [judged.point for judged, _ in bench_points_of(with_it, setup, readings_of)]
    measured = points_from_bench(points, load_curve(CURVE))
    truth = {one.curve: one.probability for one in identify(measured, LIBRARY).candidates}
    for one in found.candidates:
        assert one.probability == pytest.approx(truth[one.curve], abs=0.03)
    assert max(found.group_probabilities.values()) > 20 * found.none_of_these


def test_a_run_without_a_curve_can_be_ended_without_a_verdict(pages, waiting):
    pages.post("/runs/1/stop", data={"reason": "No curve was chosen."})
    assert "No curve was chosen" in pages.get("/runs/1").text
    assert waiting.store.certificates.all() == []
