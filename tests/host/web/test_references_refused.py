import dataclasses

import pytest

from host.procedures.bench_setup import bench_setup_of
from host.procedures.logged import events_of
from host.procedures.sender.bath_reading import UnusableReadingError, bath_reading_of
from host.procedures.sender.sender_check import state_of
from host.procedures.sender.sender_check_state import Phase
from host.store.instrument_marks import Mark

SET_POINTS = {"item": "Sender, tag 7", "curve": "ntc-310-80c", "set_points": "30 60 85", "scale": "c"}


@pytest.mark.parametrize(
    ("mark", "words"),
    [
        (Mark.FAILED, "The reference probe P-1 failed on"),
        (Mark.RETIRED, "The register holds no reference probe in use"),
    ],
)
def test_a_check_does_not_begin_on_a_reference_that_failed_or_is_retired(desk, bench, browser, mark, words):
    desk.store.register.mark("probe", "P-1", mark, reason="reads 0.4 K high at the ice point")
    refused = browser.post("/stations/bench-1/sender-check", data=SET_POINTS)
    assert refused.status_code == 422
    assert words in refused.text
    assert desk.store.runs.all() == []


@pytest.mark.slow
def test_a_check_whose_probe_fails_on_the_way_ends_without_a_certificate(desk, bench):
    run = desk.runs.start_sender_check(
        station="bench-1", item="Sender, tag 7", curve="ntc-310-80c", set_points_c=(30.0, 60.0, 85.0)
    )

    def bath_is_warm() -> bool:
        view = desk.runs.view(run)
        desk.hands.watch((view,))
        return len(view.state.windows) >= 1

    desk.lead_until(bath_is_warm, bench=bench)
    desk.store.register.mark("probe", "P-1", Mark.FAILED, reason="fell on the floor")
    desk.let_hands_finish(run, bench=bench)
    view = desk.runs.view(run)
    assert view.state.phase is Phase.STOPPED
    assert "P-1 failed on" in view.state.reason and "fell on the floor" in view.state.reason
    assert desk.store.certificates.all() == []


@pytest.mark.slow
def test_a_run_uses_no_reading_of_a_range_that_its_ohms_check_did_not_cover(finished_desk):
    store = finished_desk.store
    state = state_of(event for event in events_of(store, 1) if event.kind not in ("result", "stopped"))

    def readings_of(cited):
        return store.readings(cited.station, cited.boot, cited.first, cited.last)

    setup = bench_setup_of(state, readings_of)
    window = state.windows[0].citation
    pack = readings_of(window)[0]
    assert bath_reading_of(state, pack, setup).sender_ohm > 0.0
    with pytest.raises(UnusableReadingError, match="68 Ω range was used but not checked"):
        bath_reading_of(state, dataclasses.replace(pack, range_ohm=68.0), setup)
    # the probe's cold range sends ohms without a count, so that no correction could work on it
    cold = dataclasses.replace(pack.channels["probe"], raw=None)
    with pytest.raises(UnusableReadingError, match="no count for the probe"):
        bath_reading_of(state, dataclasses.replace(pack, channels={**pack.channels, "probe": cold}), setup)
