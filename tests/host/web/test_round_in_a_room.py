"""A resistor through a room of six simulated stations: rigs with their drivers, broker, desk and pages."""

import re

import pytest

from host.certificates.canonical import certificate_from_canonical
from host.data_folder import DataFolder
from host.demo_room import running_room
from host.live import StationState
from host.procedures.record.issued_record import record_in_store
from host.procedures.record.recompute import recompute
from host.web.app import create_app

pytestmark = pytest.mark.slow


def fields_of(form: str) -> dict[str, str]:
    """What a form that is filled in sends when its button is pressed."""
    typed = dict(re.findall(r'<input id="\w+" name="(\w+)"[^>]* value="([^"]*)"', form))
    for name, select in re.findall(r'<select id="\w+" name="(\w+)".*?>(.*?)</select>', form, re.DOTALL):
        chosen = re.search(r'value="([^"]*)" selected', select)
        typed[name] = chosen[1] if chosen else ""
    return typed


def test_a_round_of_six_simulated_stations_finds_the_one_with_corroded_clips(tmp_path, until):
    folder = DataFolder(tmp_path / "data")
    with running_room(
        folder, stations=6, seed=1, plant="series:22", leads=False, say=lambda words: None
    ) as room:
        desk, pages = room.desk, create_app(room.desk).test_client()
        [artefact] = [one for one in desk.store.register.standings() if one.kind == "artefact"]
        assert artefact.station == "" and artefact.in_force.simulated
        certified_ohm = float(artefact.in_force.content["resistance_ohm"])
        form = pages.get(f"/rounds?artefact={artefact.serial}").text
        stations = [one.station for one in room.room.benches]
        begun = pages.post("/rounds", data=fields_of(form) | {"stations": stations})
        assert begun.status_code == 303, begun.text
        address = begun.headers["Location"]

        # Before it is clipped in, a sender hangs there: that is no result.
        early = pages.post(f"{address}/read", data={"station": "station-1"})
        assert early.status_code == 422 and "clip the resistor in" in early.text.replace("\n", " ")
        assert pages.post(f"{address}/clip-in", data={}).status_code == 303
        until(lambda: pages.get(address).text.count(": clipped in<") == 6, "it is clipped in everywhere")
        since = {one: desk.live.latest(one).rig_time_s for one in stations}
        until(
            lambda: all(desk.live.latest(one).rig_time_s > since[one] + 22.0 for one in stations),
            "every rig has read it for a while",
        )
        assert pages.post(f"{address}/read", data={}).status_code == 303
        assert pages.post(f"{address}/close", data={}).status_code == 303
        [issued] = desk.store.certificates.all()
        paper = certificate_from_canonical(issued.files.canonical_json)
        [comparison] = paper.body.points
        results = {one.station: one for one in comparison.stations}
        assert set(results) == set(stations) and paper.simulated
        off = {one for one, result in results.items() if abs(result.en) > 1.0}
        assert off == {room.badly_clipped}
        assert results[room.badly_clipped].value - certified_ohm == pytest.approx(15.0, abs=6.0)
        page = pages.get(address).text
        assert f"{room.badly_clipped}" in page and "certificate 000001" in page
        assert recompute(record_in_store(desk.store, "000001")).difference is None
        assert all(desk.live.station(one).state is StationState.LIVE for one in stations)
