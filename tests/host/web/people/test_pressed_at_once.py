"""A button that several press at once, or one presses twice: what comes of it is as if it came once."""

import threading

import pytest

from host.certificates.canonical import certificate_from_canonical
from host.people.role import Role
from host.procedures.infrared.infrared_runs import InfraredRuns
from host.procedures.record.issued_record import record_in_store
from host.procedures.record.recompute import recompute
from host.procedures.rounds.station_round_runs import StationRounds
from host.procedures.vehicle.in_place_runs import InPlaceRuns
from host.web.app import create_app
from tests.host.web.filled_forms import A_ROUND, AN_INFRARED_CHECK

pytestmark = pytest.mark.slow

AT_ONCE = 4
A_TYPED_CHECK = {
    "item": "sender of the grey van",
    "curve": "ntc-310-80c",
    "temperature_1": "60",
    "resistance_1": "580",
    "rule": "guarded",
}


def at_once(reader, address, **data):
    """Press one button several times at the same moment; the answers' codes."""
    cookies = [reader.get_cookie(cookie.key) for cookie in reader._cookies.values()]
    gate, codes = threading.Barrier(AT_ONCE), []

    def press():
        one = reader.application.test_client()
        for cookie in cookies:
            one.set_cookie(cookie.key, cookie.value)
        gate.wait(timeout=30.0)
        codes.append(one.post(address, data=dict(data)).status_code)

    threads = [threading.Thread(target=press) for _ in range(AT_ONCE)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(codes) == AT_ONCE
    return codes


def begin(reader, address, form):
    answer = reader.post(address, data=form)
    assert answer.status_code == 303, answer.text
    return answer.location


def a_round(reader):
    """A round of which every station is in."""
    address = begin(reader, "/rounds", A_ROUND)
    for station, value in (("Station B", "-4.15"), ("Station C", "-3.7")):
        typed = {"station": station, "value": value, "expanded_u": "0.12", "k": "2"}
        assert reader.post(f"{address}/take", data=typed).status_code == 303
    return address, int(address.rpartition("/")[2])


def test_a_round_that_is_closed_at_once_leaves_one_draft_which_becomes_one_certificate(peopled):
    technician, store = peopled.sit_down(Role.TECHNICIAN), peopled.desk.store
    address, run = a_round(technician)
    assert set(at_once(technician, f"{address}/close")) == {303}
    (draft,) = store.drafts.of_run(run)
    assert "agrees" in technician.get(address).text
    authoriser = peopled.sit_down(Role.AUTHORISER)
    assert set(at_once(authoriser, f"/drafts/{draft.draft}/authorise")) == {303}
    (issued,) = store.certificates.all()
    assert issued.run == run
    assert technician.get(f"{address}/results.csv").status_code == 200
    assert recompute(record_in_store(store, issued.number)).difference is None


@pytest.fixture
def reader(store_folder, small_desk):
    """Somebody at a desk without accounts."""
    desk = small_desk(store_folder.path)
    browser = create_app(desk).test_client()
    browser.desk = desk
    browser.get("/")
    yield browser
    desk.close()


def test_a_round_that_is_closed_at_once_at_an_open_desk_has_one_certificate(reader):
    address, run = a_round(reader)
    assert set(at_once(reader, f"{address}/close")) == {303}
    assert [one.run for one in reader.desk.store.certificates.all()] == [run]
    assert "certificate 000001" in reader.get(address).text


def test_a_result_typed_once_and_sent_twice_stands_there_once(reader):
    address = begin(reader, "/rounds", A_ROUND)
    typed = {"station": "Station B", "value": "-4.15", "expanded_u": "0.12", "k": "2", "seen": "1"}
    assert set(at_once(reader, f"{address}/take", **typed)) == {303}
    other = reader.post(f"{address}/take", data=typed | {"value": "-4.4"})
    assert other.status_code == 422 and "has gone on meanwhile" in other.text
    assert 'value="-4.4"' in other.text, "what was typed is kept"
    (entry,) = StationRounds(reader.desk.store).view(int(address.rpartition("/")[2])).state.entries
    assert entry.stated.value == -4.15


def test_a_station_that_several_take_back_at_once_is_in_again(reader):
    address = begin(reader, "/rounds", A_ROUND)
    reader.post(f"{address}/leave-out", data={"station": "Station B", "reason": "its lead is torn"})
    codes = at_once(reader, f"{address}/take-back", station="Station B")
    assert 303 in codes and set(codes) <= {303, 422}
    view = StationRounds(reader.desk.store).view(int(address.rpartition("/")[2]))
    assert (dict(view.state.left_out), view.passed_over, view.logged) == ({}, 0, 3)


def test_a_comparison_on_the_vehicle_that_is_finished_at_once_is_one_record(reader):
    address = begin(reader, "/on-the-vehicle", {"item": "the blue van", "curve": "ntc-2k5-20c"})
    for step, fields in (("thermostat", {"thermostat": "fully open"}), ("scan_data", {"shown": "70"})):
        reader.post(f"{address}/read", data={"step": step, **fields})
    spot = {"surface": "rubber", "set_emissivity": "0.95", "surroundings": "40", "thermometer": ""}
    reader.post(f"{address}/read", data={"step": "head", "shown": "89", **spot})
    assert set(at_once(reader, f"{address}/finish")) <= {303, 409}
    view = InPlaceRuns(reader.desk.store).view(int(address.rpartition("/")[2]))
    assert view.state.is_finished and view.passed_over == 0
    assert reader.get(address).status_code == 200
    assert len(reader.desk.store.certificates.all()) == 1


def test_a_step_of_an_infrared_check_that_is_pressed_at_once_is_done_once(reader):
    address = begin(reader, "/infrared", AN_INFRARED_CHECK)
    run = int(address.rpartition("/")[2])
    for step in ("1", "2", "3", "4"):
        assert set(at_once(reader, f"{address}/next", step=step)) <= {303, 409}
    for point, step in ((45.0, "5"), (65.0, "6"), (90.0, "7")):
        for noise in (0.0, 0.1, -0.1):
            logged = InfraredRuns(reader.desk.store).view(run).logged
            shot = {"shown": f"{point + noise:.1f}", "reference": f"{point}", "seen": str(logged)}
            assert set(at_once(reader, f"{address}/shot", **shot)) == {303}
        assert set(at_once(reader, f"{address}/next", step=step)) <= {303, 409}
    assert set(at_once(reader, f"{address}/next", step="8")) == {303}
    view = InfraredRuns(reader.desk.store).view(run)
    assert view.passed_over == 0 and len(view.state.shots) == 9 and view.state.has_paper
    assert reader.get(address).status_code == 200
    assert len(reader.desk.store.certificates.all()) == 1


def test_a_check_that_was_typed_and_sent_twice_is_one_certificate(reader):
    assert set(at_once(reader, "/typed", **A_TYPED_CHECK)) == {303}
    (issued,) = reader.desk.store.certificates.all()
    assert certificate_from_canonical(issued.files.canonical_json).item == A_TYPED_CHECK["item"]
    assert [run.number for run in reader.desk.store.runs.all()] == [issued.run]


def spoil(store, run, kind, payload):
    """Append what cannot follow, as an earlier version did where a button was pressed twice."""
    store.runs.append(run, kind, payload, after=len(store.runs.events(run)))


def test_a_round_that_an_earlier_version_closed_twice_is_read_and_says_so(reader):
    store = reader.desk.store
    address, run = a_round(reader)
    reader.post(f"{address}/close")
    spoil(store, run, "result", {"certificate": "000002", "pdf_sha256": "0" * 64})
    page = reader.get(address)
    assert page.status_code == 200
    assert "1 entry of its log cannot follow" in page.text and "certificate 000001" in page.text
    assert reader.get(f"{address}/results.csv").status_code == 200
    assert reader.get("/rounds").status_code == 200
    assert recompute(record_in_store(store, "000001")).difference is None


def test_runs_that_an_earlier_version_wrote_twice_to_can_be_read_and_gone_on_with(reader):
    store = reader.desk.store
    vehicle = begin(reader, "/on-the-vehicle", {"item": "the blue van", "curve": "ntc-2k5-20c"})
    reader.post(f"{vehicle}/stop")
    spoil(store, 1, "finished", {"words": "", "next_action": ""})
    infrared = begin(reader, "/infrared", AN_INFRARED_CHECK)
    reader.post(f"{infrared}/next", data={"step": "1"})
    event, payload = store.runs.events(2)[-1]
    spoil(store, 2, event, payload)
    stations = begin(reader, "/rounds", A_ROUND)
    spoil(store, 3, "taken_back", {"station": "Station B"})
    for address in (vehicle, infrared, stations):
        page = reader.get(address)
        assert page.status_code == 200 and "1 entry of its log cannot follow" in page.text
    assert reader.post(f"{infrared}/next", data={"step": "2"}).status_code == 303
    assert "Step 3 of" in reader.get(infrared).text
