import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from calibration.contract.readings import ReadingPack
from calibration.contract.senml import encode_readings
from host.citation import Citation
from host.data_folder import DataFolder
from host.store import Store, open_store
from host.store.certificates import IssuedFiles, Place, UnknownCertificateError
from host.store.packs import Arrival
from host.store.runs import EventAfter, NotStoredYetError, UnknownRunError
from host.store.stations import StationNameError, UnknownStationError

BOOT = "00000001-0a0b0c0d"


def start_run(store: Store) -> int:
    return store.runs.create(
        station="bench-1", kind="sender_check", settings={"points_c": [25.0, 60.0, 90.0]}
    )


def paper(place: Place) -> IssuedFiles:
    number = place.number
    return IssuedFiles(
        verdict="in_tolerance",
        pdf=f"%PDF {number}".encode(),
        canonical_json=f'{{"number":"{number}"}}'.encode(),
        chart_svg=b"<svg/>",
    )


def test_runs_are_numbered_from_one_and_remember_their_settings(store: Store) -> None:
    assert [start_run(store), start_run(store)] == [1, 2]
    first, second = store.runs.open()
    assert first.settings == {"points_c": [25.0, 60.0, 90.0]}
    store.runs.end(first.number)
    assert store.runs.open() == [second]
    assert [run.number for run in store.runs.all()] == [1, 2]
    assert store.runs.get(1).ended_utc_s is not None


def test_a_run_needs_a_known_station(store: Store) -> None:
    with pytest.raises(UnknownStationError, match="ohmbath station add bench-9"):
        store.runs.create(station="bench-9", kind="sender_check", settings={})
    assert start_run(store) == 1


def test_events_come_back_in_order_with_every_digit(store: Store) -> None:
    run = start_run(store)
    store.runs.append(run, "settled", {"temperature_c": 89.93999999999998}, after=0)
    store.runs.append(run, "window_closed", {"words": "60 °C"}, after=1)
    assert store.runs.events(run) == [
        ("settled", {"temperature_c": 89.93999999999998}),
        ("window_closed", {"words": "60 °C"}),
    ]


def test_an_event_that_no_json_can_hold_is_refused(store: Store) -> None:
    run = start_run(store)
    with pytest.raises(ValueError, match="JSON"):
        store.runs.append(run, "settled", {"temperature_c": float("nan")}, after=0)
    assert store.runs.events(run) == []


def test_nothing_is_appended_to_a_run_that_does_not_exist(store: Store) -> None:
    with pytest.raises(UnknownRunError, match="no run 7"):
        store.runs.append(7, "settled", {}, after=0)


@pytest.mark.parametrize("deed", ["UPDATE events SET kind = 'other'", "DELETE FROM events"])
def test_an_event_cannot_be_edited_even_past_this_program(store: Store, deed: str) -> None:
    run = start_run(store)
    store.runs.append(run, "settled", {}, after=0)
    with pytest.raises(DBAPIError, match="never edited"), store._database.writing() as connection:
        connection.execute(text(deed))
    assert store.runs.events(run) == [("settled", {})]


def test_an_event_cites_readings_only_once_all_of_them_are_stored(
    store: Store, make_pack: Callable[..., ReadingPack]
) -> None:
    run = start_run(store)
    cites = Citation(station="bench-1", boot=BOOT, first=1, last=3)
    payloads = {seq: encode_readings(make_pack(seq=seq)) for seq in (1, 2, 3)}
    arrivals = {
        seq: Arrival(station="bench-1", payload=payload, received_utc_s=0.0)
        for seq, payload in payloads.items()
    }
    store.packs.take([arrivals[1], arrivals[3]])
    with pytest.raises(NotStoredYetError, match="up to 1 only"):
        store.runs.append(run, "window_closed", {}, after=0, cites=cites)
    store.packs.take([arrivals[2]])
    assert store.runs.append(run, "window_closed", {}, after=0, cites=cites) == 1


def test_certificates_are_numbered_without_gaps_even_where_a_rendering_fails(store: Store) -> None:
    run = start_run(store)

    def fail(place: Place) -> IssuedFiles:
        raise RuntimeError("the font is missing")

    assert store.certificates.issue(run, paper) == "000001"
    other = start_run(store)
    with pytest.raises(RuntimeError, match="font"):
        store.certificates.issue(other, fail)
    assert store.certificates.next_number() == "000002"
    assert store.certificates.issue(other, paper) == "000002"
    assert [issued.number for issued in store.certificates.all()] == ["000001", "000002"]


def test_a_number_taken_by_another_program_meanwhile_is_not_given_twice(store: Store, tmp_path: Path) -> None:
    run = start_run(store)
    other = open_store(DataFolder(tmp_path / "desk"))
    made: list[str] = []

    def make(place: Place) -> IssuedFiles:
        made.append(place.number)
        if len(made) == 1:
            other.certificates.issue(start_run(other), paper)
        return paper(place)

    assert store.certificates.issue(run, make) == "000002"
    assert made == ["000001", "000002"]
    assert store.certificates.get("000002").files.pdf == b"%PDF 000002"
    other.close()


def test_many_threads_issue_each_number_once(store: Store) -> None:
    numbers: list[str] = []
    threads = [
        threading.Thread(target=lambda: numbers.append(store.certificates.issue(start_run(store), paper)))
        for _ in range(8)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(numbers) == [f"{number:06d}" for number in range(1, 9)]


def test_issued_bytes_stay_and_a_spoiled_copy_is_written_anew(store: Store) -> None:
    number = store.certificates.issue(start_run(store), paper)
    path = store.certificates.path(number)
    assert path.read_bytes() == b"%PDF 000001"
    path.write_bytes(b"scribbled over")
    assert store.certificates.path(number).read_bytes() == b"%PDF 000001"
    with pytest.raises(UnknownCertificateError, match="000099"):
        store.certificates.get("000099")


def test_issuing_and_its_event_are_one_transaction(store: Store) -> None:
    run = start_run(store)
    event = EventAfter(kind="issued", after=0)
    number = store.certificates.issue(run, paper, event=event)
    ((kind, payload),) = store.runs.events(run)
    assert (kind, payload["certificate"]) == ("issued", number)
    with pytest.raises(UnknownRunError):
        store.certificates.issue(99, paper, event=event)
    assert store.certificates.next_number() == "000002"


@pytest.mark.parametrize("name", ["", "Bench", "bench 1", "-bench", "b" * 33, "bänk", "bench/1"])
def test_a_name_that_no_topic_can_carry_names_no_station(store: Store, name: str) -> None:
    with pytest.raises(StationNameError, match="a-z, 0-9"):
        store.stations.add(name)


def test_a_station_is_added_once(store: Store) -> None:
    with pytest.raises(StationNameError, match="already"):
        store.stations.add("bench-1")
    assert [one.station for one in store.stations.all()] == ["bench-1"]
