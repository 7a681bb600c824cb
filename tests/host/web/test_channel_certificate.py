"""The certificate of a resistance channel, asked for at the run whose ohms check stands behind it."""

import json
from dataclasses import replace

import pytest

from calibration.conformity import Verdict
from host.certificates.canonical import certificate_from_canonical
from host.certificates.dcc import dcc_xml
from host.certificates.kind import Kind
from host.procedures.record.issued_record import record_in_store
from host.procedures.record.recompute import certificate_again, recompute
from host.web.app import create_app

pytestmark = pytest.mark.slow


@pytest.fixture
def finished(finished_desk):
    return finished_desk, create_app(finished_desk).test_client()


def test_the_ohms_check_of_a_run_is_put_on_paper_once(finished):
    desk, browser = finished
    assert "Certificate of the channel" in browser.get("/runs/1").text
    first = browser.post("/runs/1/channel")
    assert first.headers["Location"] == browser.post("/runs/1/channel").headers["Location"] == "/channels/2"
    assert browser.get("/channels/2").headers["Location"] == "/certificates/000002"
    assert [one.run for one in desk.store.certificates.all()] == [1, 2]
    channel = certificate_from_canonical(desk.store.certificates.get("000002").files.canonical_json)
    assert channel.kind is Kind.OHMS_CHANNEL and channel.verdict is Verdict.IN_TOLERANCE
    assert len(channel.points) == 21  # two ranges of the sender and one of the probe, seven settings each
    assert all(abs(point.error_ohm) < point.expanded_u_ohm for point in channel.points)
    assert [one.role for one in channel.instruments] == ["decade box"]
    xml = browser.get("/certificates/000002.xml")
    assert xml.mimetype == "application/xml" and xml.data == dcc_xml(channel)
    page = browser.get("/certificates/000002").text
    assert "resistance channel of bench-1" in page and "sender, 750 Ω" in page
    assert browser.get("/runs/2").headers["Location"] == "/channels/2"


def test_the_check_of_the_sender_stays_the_result_of_its_run(finished):
    desk, browser = finished
    before = browser.get("/runs/1").text
    browser.post("/runs/1/channel")
    assert browser.get("/runs/1").text == before
    assert "resistance channel of bench-1" in browser.get("/runs").text


def test_the_channel_can_be_worked_out_again_from_its_readings(finished):
    desk, browser = finished
    browser.post("/runs/1/channel")
    again = recompute(record_in_store(desk.store, "000002"))
    assert again.difference is None
    assert len(again.rows) > 21 * 8


def test_its_times_are_those_of_the_shop_and_utc_where_a_run_of_before_kept_no_zone(finished):
    desk, browser = finished
    browser.post("/runs/1/channel")
    record = record_in_store(desk.store, "000002")
    assert json.loads(record.canonical_json)["measured"].startswith("time unknown")  # the bench has no clock

    def with_a_clock(cited):
        return [replace(pack, utc_s=1_750_000_000.0) for pack in record.readings_of(cited)]

    def measured(record) -> str:
        return certificate_again(replace(record, readings_of=with_a_clock)).measured

    (started,) = record.timed_events
    settings = dict(started.payload["settings"])
    assert settings.pop("time_zone") == desk.runs.view(1).state.started.time_zone

    def kept_with(**more):
        return replace(record, timed_events=(replace(started, payload={"settings": settings | more}),))

    # 1 750 000 000 s is 2025-06-15 15:06:40 UTC; Nepal is 5 h 45 min ahead.
    in_nepal = measured(kept_with(time_zone="Asia/Kathmandu"))
    assert in_nepal.startswith("2025-06-15 20:51 to 2025-06-15 20:51 UTC+05:45")
    assert measured(kept_with()).startswith("2025-06-15 15:06 to 2025-06-15 15:06 UTC,")


def test_a_run_without_an_ohms_check_of_its_own_has_no_such_certificate(browser, desk):
    assert browser.post("/runs/7/channel").status_code == 404
