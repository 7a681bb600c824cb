"""The witness check over the pages: beside the probe at three temperatures."""

import json
from dataclasses import replace

import pytest
from click.testing import CliRunner

from host.cli import main
from host.procedures.logged import events_of
from host.procedures.record.issued_record import readings_in
from host.procedures.record.recompute import RecomputeError
from host.procedures.record.recompute_witness import recompute_witness_check

pytestmark = pytest.mark.slow


def settle(bench, at_c):
    bench.bath_c = at_c
    bench.read(100)


def test_a_witness_read_at_three_temperatures_gets_its_corrections(browser, desk, bench):
    begun = browser.post("/witness-check", data={"station": "bench-1", "serial": "W-3"})
    where = begun.headers["Location"]
    for at_c in (30.0, 60.0, 85.0):
        settle(bench, at_c)
        assert browser.post(f"{where}/read", data={"do": "read"}).status_code == 303
    assert browser.post(f"{where}/read", data={"do": "finish"}).status_code == 303
    points = desk.store.register.standing("witness", "W-3").in_force.content["point"]
    # The witness of the small bench reads 0.1 K low, in steps of 1/16 K.
    assert [row["correction_k"] for row in points] == pytest.approx([0.1] * 3, abs=0.05)
    assert all(abs(row["correction_k"] - 0.1) < row["expanded_u_k"] < 0.6 for row in points)
    assert "in the register" in browser.get(where).text
    assert "W-3" in browser.get("/witness-check").text and "W-3" in browser.get("/runs").text
    _comes_out_the_same_from_its_readings(desk)
    assert browser.post(f"{where}/read", data={"do": "read"}).status_code == 422


def _comes_out_the_same_from_its_readings(desk):
    command = ["certificate", "recompute", "--run", "1", "--json", "--data", str(desk.folder)]
    again = CliRunner().invoke(main, command)
    assert again.exit_code == 0, again.output
    said = json.loads(again.output)
    assert (said["same"], len(said["numbers"])) == (True, 3 * 5 + 3 * 3)

    def shifted(cited):
        packs = readings_in(desk.store)(cited)
        return [
            replace(pack, channels=pack.channels | {"witness": replace(witness, value=witness.value + 0.01)})
            for pack in packs
            if (witness := pack.channels["witness"]).value is not None
        ]

    entries = {entry.sha256: entry.content for entry in desk.store.register.all()}
    other = recompute_witness_check(1, events_of(desk.store, 1), shifted, entries)
    assert other.difference is not None and other.difference.startswith("shown_c of reading 1")
    with pytest.raises(RecomputeError, match="readings are gone"):
        recompute_witness_check(1, events_of(desk.store, 1), lambda cited: [], entries)
    with pytest.raises(RecomputeError, match="nothing to compare"):
        recompute_witness_check(1, events_of(desk.store, 1)[:-1], shifted, entries)


def test_two_temperatures_a_drifting_bath_and_the_same_temperature_twice_are_refused(browser, desk, bench):
    where = browser.post("/witness-check", data={"station": "bench-1", "serial": "W-3"}).headers["Location"]
    settle(bench, 30.0)
    browser.post(f"{where}/read", data={"do": "read"})
    again = browser.post(f"{where}/read", data={"do": "read"})
    assert again.status_code == 422 and "already" in again.text
    bench.heater_c = 80.0
    bench.read(60)
    moving = browser.post(f"{where}/read", data={"do": "read"})
    assert moving.status_code == 422 and "drifts by" in moving.text
    early = browser.post(f"{where}/read", data={"do": "finish"})
    assert early.status_code == 422 and "1 so far" in early.text
    assert desk.store.register.current("witness") is None


def test_a_start_without_station_and_serial_is_refused_beside_the_fields(browser, bench):
    answer = browser.post("/witness-check", data={})
    assert answer.status_code == 422
    assert "Choose the station" in answer.text and "Write its serial" in answer.text


def test_a_silent_station_s_last_readings_are_no_temperature_of_a_witness(browser, desk, bench):
    where = browser.post("/witness-check", data={"station": "bench-1", "serial": "W-3"}).headers["Location"]
    settle(bench, 60.0)
    desk.let_wall_time_pass(20.0)
    answer = browser.post(f"{where}/read", data={"do": "read"})
    assert answer.status_code == 422 and "bench-1 is silent for 20 s" in answer.text.replace(
        "\N{NO-BREAK SPACE}", " "
    )
    bench.read(1)
    assert browser.post(f"{where}/read", data={"do": "read"}).status_code == 303
