"""A second sender at the same station rests on the ohms check of the first."""

import dataclasses
import json
from io import BytesIO

import pypdf
import pytest

from host.certificates.canonical import certificate_from_canonical
from host.errors import DeskError
from host.procedures.sender.sender_check_start import SenderCheckWish, check_that_serves
from host.web.app import create_app

pytestmark = pytest.mark.slow

DAY_S = 24 * 3600.0


@pytest.fixture
def bench(finished_desk):
    """The bench on which run 1 came to its certificate, at work again."""
    bench = finished_desk.benches["bench-1"]
    bench.boot = "00000002-0000abcd"
    bench.series_ohm = 25.0
    bench.say(boot=bench.boot)
    bench.read(40)
    return bench


def serves(desk) -> int | None:
    found = check_that_serves("bench-1", store=desk.store, live=desk.live)
    return None if found is None else found.run


WISH = SenderCheckWish(
    station="bench-1", item="Second", curve="ntc-310-80c", set_points_c=(30.0, 60.0, 85.0), set_up=()
)


def test_the_second_sender_needs_no_ohms_check_of_its_own_and_both_papers_say_so(finished_desk, bench):
    desk = finished_desk
    run = desk.runs.start_check(WISH)
    assert desk.runs.view(run).card.steps == 5
    desk.let_hands_finish(run, bench=bench)
    assert desk.runs.view(run).state.reason is None
    kinds = [kind for kind, _ in desk.store.runs.events(run)]
    assert "box_read" not in kinds
    assert "ohms_checked" not in kinds
    papers = [
        certificate_from_canonical(issued.files.canonical_json) for issued in desk.store.certificates.all()
    ]
    words = [dict(paper.conditions)["ohms check"] for paper in papers]
    assert words[0].endswith("before this run")
    assert "of run 0001, passed" in words[1]
    cited = [[one for one in paper.citations if one.startswith("ohms check")] for paper in papers]
    assert cited[0] == cited[1] != []
    lines = [{line.quantity for line in paper.points[-1].budget.lines} for paper in papers]
    since = {"sender: since its ohms check", "probe: since its ohms check"}
    assert lines[1] - lines[0] == since
    assert papers[1].points[-1].expanded_u_k > papers[0].points[-1].expanded_u_k


def test_a_run_that_rests_on_another_is_made_of_its_own_events_alone(finished_desk, bench):
    desk = finished_desk
    run = desk.runs.start_check(WISH)
    kept = json.loads(json.dumps(desk.store.runs.get(run).settings))
    assert kept["ohms_check"]["run"] == 1
    assert len(kept["ohms_check"]["box_read"]) == len(kept["ohms_check"]["plan"]) == 21
    state = desk.runs.view(run).state
    assert json.loads(json.dumps(state.started.as_json())) == kept
    assert state.next_setting is None


def test_the_form_says_which_check_serves_and_can_ask_for_a_new_one(finished_desk, bench):
    browser = create_app(finished_desk).test_client()
    page = browser.get("/stations/bench-1").text
    assert "ohms check of run 0001" in page
    assert 'name="anew"' in page
    run = finished_desk.runs.start_check(dataclasses.replace(WISH, anew=True))
    assert finished_desk.runs.view(run).state.started.ohms_check is None


def test_a_check_serves_for_a_day_and_no_longer(finished_desk, bench, monkeypatch):
    now = finished_desk.store.now()
    assert serves(finished_desk) == 1
    monkeypatch.setattr(finished_desk.store, "now", lambda: now + DAY_S + 60.0)
    assert serves(finished_desk) is None


def test_another_certificate_of_the_box_or_another_rig_needs_a_check_of_its_own(finished_desk, bench):
    assert serves(finished_desk) == 1
    latest = finished_desk.live.latest("bench-1")
    finished_desk.live.add([dataclasses.replace(latest, seq=latest.seq + 1, rig="another")])
    assert serves(finished_desk) is None
    bench.read(2)
    box = next(one for one in finished_desk.store.register.all() if one.kind == "decade_box")
    lines = [
        f"{name} = {json.dumps(value)}"
        for name, value in box.content.items()
        if name not in ("step", "issued", "due")
    ]
    steps = [
        f"[[step]]\nnominal_ohm = {step['nominal_ohm']}\ncertified_ohm = {step['certified_ohm'] + 0.001}"
        for step in box.content["step"]
    ]
    text = "\n".join([*lines, "issued = 2021-01-01", "due = 2099-01-01", *steps])
    finished_desk.store.register.add_text(text)
    assert serves(finished_desk) is None


def test_a_check_that_was_broken_off_speaks_against_the_one_before(finished_desk, bench):
    run = finished_desk.runs.start_check(dataclasses.replace(WISH, anew=True))
    assert serves(finished_desk) == 1
    finished_desk.runs.press(run)
    finished_desk.lead_until(
        lambda: len(finished_desk.runs.view(run).state.box_read) > 3, bench=bench, most_passes=2000
    )
    finished_desk.runs.stop_run(run, "the box crackles")
    assert serves(finished_desk) is None


def test_a_station_that_was_never_checked_has_none(finished_desk, bench):
    other = finished_desk.add_bench("bench-2")
    other.read(4)
    assert check_that_serves("bench-2", store=finished_desk.store, live=finished_desk.live) is None


def test_a_sender_checked_again_as_left_has_both_results_on_page_and_paper(finished_desk, bench):
    desk = finished_desk
    found = certificate_from_canonical(desk.store.certificates.get("000001").files.canonical_json)
    bench.series_ohm = 0.4  # the terminals are clean now
    wish = dataclasses.replace(WISH, as_left_of=1, done="terminals cleaned & dried")
    run = desk.runs.start_check(wish)
    desk.let_hands_finish(run, bench=bench)
    (issued,) = desk.store.certificates.of_run(run)
    left = certificate_from_canonical(issued.files.canonical_json)
    assert found.item_condition == "as found"
    assert left.item_condition == "as left; as found: certificate 000001"
    assert left.as_found.number == "000001"
    assert left.as_found.done == "terminals cleaned & dried"
    assert [point.error_k for point in left.as_found.points] == [point.error_k for point in found.points]
    assert left.verdict is not found.verdict
    paper = pypdf.PdfReader(BytesIO(issued.files.pdf))
    assert len(paper.pages) <= 3
    text = " ".join("".join(page.extract_text() for page in paper.pages).split())
    assert "terminals cleaned & dried" in text
    assert "Certificate 000001, measured" in text
    browser = create_app(desk).test_client()
    page = browser.get(f"/runs/{run}").text
    assert "As found and as left" in page
    assert "terminals cleaned &amp; dried" in page
    assert f'href="/runs/{run}">run {run:04d}' in browser.get("/runs/1").text


def test_a_run_without_a_certificate_was_never_found(finished_desk, bench):
    run = finished_desk.runs.start_check(WISH)
    finished_desk.runs.stop_run(run, "enough")
    with pytest.raises(DeskError, match="has no certificate"):
        finished_desk.runs.start_check(dataclasses.replace(WISH, as_left_of=run, done="cleaned"))
