"""The ohms check by itself, from the station's page to its result, its paper and its history."""

import re

import pytest

from host.certificates.canonical import certificate_from_canonical
from host.local_time import local_day
from host.procedures.ohms.ohms_check import Kind
from host.procedures.record.issued_record import record_in_store
from host.procedures.record.recompute import recompute
from host.procedures.record.record_folder import read_record, write_record
from host.procedures.run_kind import RunKind
from host.procedures.runs_at_work import RunsAtWork
from host.store.register_file import register_entry

pytestmark = pytest.mark.slow

DAY_S = 86_400.0


def start(browser, **typed) -> int:
    answer = browser.post("/stations/bench-1/ohms-check", data=typed)
    assert answer.status_code == 303, answer.text
    return int(answer.headers["Location"].rsplit("/", 1)[1])


def passed(desk, bench, browser, **typed) -> int:
    run = start(browser, **typed)
    desk.let_hands_finish(run, bench=bench)
    assert desk.runs.view(run).state.has_passed, desk.runs.view(run).state.reason
    return run


def kinds(desk, run) -> list[str]:
    return [kind for kind, _ in desk.store.runs.events(run)]


def test_it_is_started_from_the_station_and_comes_to_its_result(desk, bench, browser):
    assert "/stations/bench-1/ohms" in browser.get("/stations/bench-1").text
    page = browser.get("/stations/bench-1/ohms").text
    assert "Check the ohms now" in page and "None has passed here yet." in page
    run = start(browser, operator="Ida")
    page = browser.get(f"/runs/{run}").text
    assert "Let the rig be on for ten minutes" in page and "It is warm" in page
    assert "is busy with run" in browser.post("/stations/bench-1/ohms-check").text
    browser.post(f"/runs/{run}/press", data={"step": "1"})
    assert "checking its own ohms" in browser.get(f"/runs/{run}/card").text
    assert browser.get(f"/runs/{run}/course").status_code == 404
    desk.let_hands_finish(run, bench=bench)
    assert desk.store.runs.get(run).ended_utc_s is not None
    assert bench._insertion.value == "none"  # the box is out of the way again
    page = browser.get(f"/runs/{run}").text
    assert "In tolerance" in page and "probe, 2700 Ω" in page
    assert "as sender K" in page and "limit Ω" in page and "The budget" in page
    assert page.count("<h3>At ") == 21
    assert "Ida" in desk.runs.view(run).state.started.operator
    assert "passed" in browser.get("/runs").text
    assert kinds(desk, run)[:2] == ["started", "warmed_up"]
    assert kinds(desk, run)[-2:] == ["ohms_checked", "box_taken_out"]


def test_a_check_made_alone_serves_the_next_sender_check(desk, bench, browser):
    run = passed(desk, bench, browser)
    assert f"of run {run:04d}, passed" in browser.get("/stations/bench-1").text
    bench.series_ohm = 25.0
    sender = desk.runs.start_sender_check(
        station="bench-1", item="A-117", curve="ntc-310-80c", set_points_c=(30.0, 60.0, 85.0)
    )
    reused = desk.runs.view(sender).state.started.ohms_check
    assert reused.run == run and len(reused.box_read) == len(reused.plan) == 21
    assert reused.box_read == desk.runs.view(run).state.box_read
    desk.let_hands_finish(sender, bench=bench)
    number = desk.runs.view(sender).state.certificate
    assert number is not None, desk.runs.view(sender).state.reason
    paper = certificate_from_canonical(desk.store.certificates.get(number).files.canonical_json)
    assert f"run {run:04d}" in str(paper.conditions)
    assert recompute(record_in_store(desk.store, number)).difference is None
    # A sender check that rests on it made none itself: it is not in the history.
    assert f'href="/runs/{sender}"' not in browser.get("/stations/bench-1/ohms").text


def test_one_that_failed_or_is_a_day_old_serves_nothing(tmp_path, small_desk, browser_of):
    clock = [1.9e9]
    desk = small_desk(tmp_path / "aged", now=lambda: clock[0])
    bench = desk.add_bench()
    bench.say()
    bench.read(40)
    browser = browser_of(desk)
    first = passed(desk, bench, browser)
    clock[0] += 0.9 * DAY_S
    assert f"of run {first:04d}, passed" in browser.get("/stations/bench-1").text
    failed = start(browser)
    browser.post(f"/runs/{failed}/press", data={"step": "1"})
    desk.lead_until(lambda: len(desk.runs.view(failed).state.box_read) > 3, bench=bench)
    browser.post(f"/runs/{failed}/stop", data={"reason": "The box smells."})
    assert "The box smells." in browser.get(f"/runs/{failed}").text
    assert "passed" not in browser.get("/stations/bench-1").text
    page = browser.get("/stations/bench-1/ohms").text
    assert "Begun and not passed" in page and f'href="/runs/{failed}"' in page
    again = passed(desk, bench, browser)
    assert f"of run {again:04d}, passed" in browser.get("/stations/bench-1").text
    clock[0] += 1.1 * DAY_S
    assert "passed" not in browser.get("/stations/bench-1").text
    desk.close()


def test_a_desk_killed_after_any_event_goes_on_to_the_same_check(desk, bench, browser):
    run = start(browser)
    desk.hands.watch((desk.runs.view(run),))
    seen = restarts = 0
    for _ in range(3000):
        if desk.store.runs.get(run).ended_utc_s is not None:
            break
        desk.lead()
        if len(kinds(desk, run)) > seen:  # killed: a new desk knows only what the store holds
            seen, restarts = len(kinds(desk, run)), restarts + 1
            desk.runs = RunsAtWork(store=desk.store, live=desk.live, book=desk.book)
            desk.hands.serve(desk.runs)
        bench.read(5)
    state = desk.runs.view(run).state
    assert state.phase.value == "done" and len(state.box_read) == 21
    assert restarts >= len(state.plan)
    assert kinds(desk, run).count(Kind.OHMS_CHECKED) == 1


def test_its_paper_is_made_once_and_worked_out_again_here_and_elsewhere(desk, bench, browser, tmp_path):
    run = passed(desk, bench, browser, operator="Ida")
    first = browser.post(f"/runs/{run}/channel").headers["Location"]
    assert browser.post(f"/runs/{run}/channel").headers["Location"] == first
    assert f'href="{first}"' in browser.get(f"/runs/{run}").text
    paper = certificate_from_canonical(desk.store.certificates.get("000001").files.canonical_json)
    assert paper.operator == "Ida" and paper.verdict.value == "in_tolerance"
    assert all(abs(point.error_ohm) + point.expanded_u_ohm < point.limit_ohm for point in paper.points)
    record = record_in_store(desk.store, "000001")
    assert recompute(record).difference is None
    write_record(desk.store, record, tmp_path / "folder")
    again = recompute(read_record(tmp_path / "folder"))
    assert again.difference is None and len(again.rows) > 21 * 8


def test_the_history_shows_every_check_with_its_drift_and_the_box_behind_it(
    tmp_path, small_desk, browser_of, monkeypatch
):
    clock = [1.8e9]
    desk = small_desk(tmp_path / "years", now=lambda: clock[0])
    bench = desk.add_bench()
    bench.say()
    bench.read(40)
    browser = browser_of(desk)
    runs = []
    for share in (0.0, 0.0005, 0.0010):  # what the bench reads goes up by half a thousandth a year
        monkeypatch.setattr(bench, "reads_high_by", share)
        runs.append(passed(desk, bench, browser))
        clock[0] += 365.25 * DAY_S
        if len(runs) == 2:  # the box comes back from the laboratory
            box = dict(desk.store.register.current("decade_box").content)
            again = {"certificate": "C-3", "issued": local_day(clock[0], None)}
            desk.store.register.add(register_entry(box | again))
    page = browser.get("/stations/bench-1/ohms").text
    assert all(page.count(f'href="/runs/{run}"') == 3 for run in runs)  # a row in each of three ranges
    first, second, third = (f"{run:04d}" for run in runs)
    assert page.count(f"Behind {third}: decade box D-1, certificate C-3, nobody at all") == 3
    assert page.count(f"Behind {second}, {first}: decade box D-1, certificate C-2, nobody at all") == 3
    assert page.count("<svg") == 3
    drift = re.findall(r'<p class="drift">(\S+) ± (\S+) Ω a year: it drifts\.', page)
    assert len(drift) == 3
    for (said, u), range_ohm in zip(drift, (2700.0, 750.0, 2700.0), strict=True):
        assert float(said) == pytest.approx(0.0005 * range_ohm, abs=float(u))  # by construction
    assert "K a year on a coolant sender" in page and "as found, before the check corrected them" in page
    desk.close()


def test_checks_inside_sender_checks_are_in_the_history_too(finished_desk, browser_of):
    page = browser_of(finished_desk).get("/stations/bench-1/ohms").text
    assert page.count("in a sender check") == 3 and "Checks of one day show no drift" in page


def test_it_says_why_it_cannot_begin(desk, browser):
    assert browser.get("/stations/nowhere/ohms").status_code == 404
    assert browser.post("/stations/nowhere/ohms-check").status_code == 404
    desk.store.stations.add("bench-2")
    desk.live.add_station("bench-2")
    refused = browser.post("/stations/bench-2/ohms-check")
    assert refused.status_code == 422 and "has sent no reading yet" in refused.text
    assert not desk.store.runs.open(RunKind.OHMS_CHECK)
