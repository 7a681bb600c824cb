"""A witness with corrections of its own: where it is shown, and where it is held against the probe."""

import re
from dataclasses import replace

import pytest

from host.certificates.canonical import certificate_from_canonical
from host.procedures.record.issued_record import record_in_store
from host.procedures.record.recompute import recompute
from host.procedures.sender import sender_check
from host.procedures.sender.sender_check import state_of
from host.procedures.sender.sender_result import certificate_of
from host.shop import Shop

pytestmark = pytest.mark.slow

WITNESS = """
kind = "witness"
serial = "W-1"
certificate = "K-77"
issuer = "nobody at all"
issued = 2025-01-01
{more}
resolution_k = 0.0625
accuracy_k = 0.5
k = 2.0
[[point]]
shown_c = 20.0
correction_k = {correction_k}
expanded_u_k = 0.10
[[point]]
shown_c = 88.0
correction_k = {correction_k}
expanded_u_k = 0.10
"""
CONTENT = {
    "serial": "W-1",
    "certificate": "K-77",
    "resolution_k": 0.0625,
    "k": 2.0,
    "point": [
        {"shown_c": 20.0, "correction_k": 0.1, "expanded_u_k": 0.10},
        {"shown_c": 88.0, "correction_k": 0.1, "expanded_u_k": 0.10},
    ],
}


def live(browser):
    """What the page of the station says of its witness, and its bar in the strip."""
    page = browser.get("/stations/bench-1").text.replace("\N{NO-BREAK SPACE}", " ")
    value = re.sub(r"<[^>]+>", " ", page.split("<dt>Witness</dt>")[1].split("</div>")[0])
    (bar,) = set(re.findall(r"1-wire witness (\S+ ±\S+ °C)", page))
    return " ".join(value.split()), bar


def put(desk, correction_k=0.27, more='station = "bench-1"'):
    desk.store.register.add_text(WITNESS.format(correction_k=correction_k, more=more))


def test_a_station_shows_its_witness_corrected_with_the_u_of_that(browser, desk, bench):
    """U: 0.10 K / 2 and steps of 1/16 K, 2 × √(0.050² + 0.018²) = 0.11 K (JCGM 100, 5.1.2 and F.2.2.1)."""
    bench.bath_c = 60.0
    bench.read(8)
    value, bar = live(browser)
    assert bar == "59.88 ±0.50 °C" and "corrected" not in value
    put(desk)
    value, bar = live(browser)
    assert bar in ("60.14 ±0.11 °C", "60.15 ±0.11 °C")  # 59.875 + 0.27
    assert value.startswith("60.15 °C") or value.startswith("60.14 °C")
    assert "corrected by +0.27 K (W-1, K-77)" in value


@pytest.mark.parametrize("more", ["", 'station = "bench-9"', 'station = "bench-1"\ndue = 2025-06-01'])
def test_a_witness_of_nobody_or_of_another_station_or_past_its_due_date_corrects_nothing(
    browser, desk, bench, more
):
    bench.bath_c = 60.0
    bench.read(8)
    put(desk, more=more)
    value, bar = live(browser)
    assert bar == "59.88 ±0.50 °C" and "corrected" not in value


def test_where_the_witness_has_no_correction_it_speaks_as_bought(browser, desk, bench):
    bench.bath_c = 8.0
    bench.read(8)
    put(desk)
    value, bar = live(browser)
    assert "±0.50" in bar and "corrected" not in value


def again_with(desk, content, **more):
    """Certificate of the finished check, had its station had a witness with these corrections."""
    record = record_in_store(desk.store, "000001")
    state = state_of([event for event in record.events if event.kind != sender_check.Kind.RESULT])
    state = replace(state, settings=replace(state.started, witness=content, **more))
    return certificate_of(state, record.readings_of, number="000001", shop=Shop(), run=record.run)


def test_a_sender_check_holds_the_corrected_witness_against_the_probe(finished_desk):
    """The bench of these tests reads its witness 0.1 K low."""
    desk = finished_desk
    before = certificate_from_canonical(desk.store.certificates.get("000001").files.canonical_json)
    paper = again_with(desk, CONTENT)
    for then, now in zip(before.points, paper.points, strict=True):
        assert then.error_k == now.error_k and then.expanded_u_k == now.expanded_u_k  # never an average
        was, is_now = ({w.name: w for w in point.witnesses}["1-wire witness"] for point in (then, now))
        assert is_now.temperature_c == pytest.approx(was.temperature_c + 0.1)
        assert was.expanded_u_k >= 0.5 and is_now.expanded_u_k < 0.15
    assert ("1-wire witness", "W-1, corrected by K-77") in paper.conditions
    assert not any("1-wire witness" in remark for remark in paper.remarks if "corrections" in remark)


def test_a_corrected_witness_that_does_not_agree_with_the_probe_is_an_alarm_on_the_paper(finished_desk):
    points = [{**point, "correction_k": 0.6} for point in CONTENT["point"]]
    paper = again_with(finished_desk, {**CONTENT, "point": points})
    alarms = [remark for remark in paper.remarks if "W-1" in remark]
    assert len(alarms) == len(paper.points)
    assert re.search(r"stands \+0\.[45]\d K from the probe", alarms[0])
    assert "One of the two has changed" in alarms[0]


@pytest.mark.parametrize(("cell", "is_corrected"), [(0.95, True), (0.6, False)])
def test_the_sensor_of_a_station_is_corrected_where_its_cell_holds_what_it_was_certified_with(
    finished_desk, cell, is_corrected
):
    """The bench of these tests reads it 0.7 K low; its cell holds 0.95."""
    points = [{"shown_c": shown_c, "correction_k": 0.7, "expanded_u_k": 0.8} for shown_c in (25.0, 85.0)]
    entry = {"serial": "bench-1", "certificate": "K-78", "resolution_k": 0.02, "k": 2.0, "point": points}
    paper = again_with(finished_desk, {}, infrared={**entry, "certified_emissivity": cell})
    for point in paper.points:
        by_name = {witness.name: witness for witness in point.witnesses}
        apart_k = by_name["infrared"].temperature_c - by_name["contact probe"].temperature_c
        assert apart_k == pytest.approx(0.0 if is_corrected else -0.7, abs=0.06)
    # 2 × √((0.8/2)² + (1 K/√3)² + …) at 85 °C: the water's own share stays on top of the sensor's.
    u_k = {witness.name: witness.expanded_u_k for witness in paper.points[-1].witnesses}["infrared"]
    assert u_k == pytest.approx(1.40 if not is_corrected else 2.0 * (0.4**2 + 1.0 / 3.0) ** 0.5, abs=0.01)
    assert (("infrared sensor", "bench-1, corrected by K-78") in paper.conditions) is is_corrected


def test_a_check_of_before_comes_out_as_it_was_though_its_witness_was_calibrated_since(finished_desk):
    put(finished_desk)
    result = recompute(record_in_store(finished_desk.store, "000001"))
    assert result.difference is None


def test_a_witness_check_leaves_the_witness_at_its_station(browser, desk, bench):
    where = browser.post("/witness-check", data={"station": "bench-1", "serial": "W-3"}).headers["Location"]
    for at_c in (30.0, 60.0, 85.0):
        bench.bath_c = at_c
        bench.read(100)
        browser.post(f"{where}/read", data={"do": "read"})
    browser.post(f"{where}/read", data={"do": "finish"})
    assert desk.store.register.standing("witness", "W-3").station == "bench-1"
    value, _ = live(browser)
    assert "corrected by +0.1" in value and "W-3, witness check 0001" in value
