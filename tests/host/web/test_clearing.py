"""Idle readings cleared at a desk with work on it: every certificate is worked out again as before."""

import shutil
import threading

import pytest

from calibration.contract.senml import encode_readings
from host.data_folder import DataFolder
from host.idle_readings import clear_idle_readings
from host.procedures.record.issued_record import record_in_store
from host.procedures.record.recompute import recompute
from host.procedures.sender.sender_course import course_of
from host.store import open_store, schema
from host.store.idle_readings import NOT_KEPT
from host.store.packs import Arrival
from host.store.rests_on import citations_in
from host.web.app import create_app
from tests.host.web.filled_forms import A_ROUND_OF_A_RESISTOR

pytestmark = pytest.mark.slow

NEW_BOOT = "00000003-0000abcd"


@pytest.fixture
def worked_folder(tmp_path_factory, _finished_folder, small_desk):
    """Data of a desk with work on it, made once: pages are posted to, which only a test's own time allows."""
    folder = tmp_path_factory.getbasetemp() / "worked"
    if not folder.exists():
        aside = folder.with_name("at-work")
        shutil.copytree(_finished_folder, aside)
        _work(small_desk(aside))
        aside.rename(folder)
    return folder


def _work(desk):
    """Certify, beside the check that is there, one that rests on its ohms check, a channel and a round.

    The readings of the small bench bear no time of arrival, so they are older than any shop keeps them: what
    stays of them stays because a run points there.
    """
    browser = create_app(desk).test_client()
    bench = desk.benches["bench-1"]
    bench.boot = "00000002-0000abcd"
    bench.say(boot=bench.boot)
    bench.read(2300)
    bench.series_ohm = 25.0
    assert browser.post("/runs/1/channel").status_code == 303
    run = desk.runs.start_sender_check(
        station="bench-1", item="Sender, tag 8", curve="ntc-310-80c", set_points_c=(30.0, 36.0, 42.0)
    )
    desk.let_hands_finish(run, bench=bench)
    assert desk.runs.view(run).state.started.ohms_check.run == 1
    bench.heater_c, bench.bath_c = None, 60.0
    bench.read(200)
    address = browser.post("/rounds", data=A_ROUND_OF_A_RESISTOR).location
    for page, typed in (("read", {"station": "bench-1"}), ("close", {})):
        assert browser.post(f"{address}/{page}", data=typed).status_code == 303
    bench.read(200)
    assert len(desk.store.certificates.all()) == 4
    desk.close()


@pytest.fixture(params=["file", pytest.param("server", marks=pytest.mark.postgresql)])
def desk(request, worked_folder, tmp_path, small_desk):
    """That desk, its store in a file and on a server."""
    folder = tmp_path / "desk"
    shutil.copytree(worked_folder, folder)
    if request.param == "server":
        _move_to_a_server(folder, request.getfixturevalue("postgresql").new_url())
    made = small_desk(folder)
    yield made
    made.close()


def _move_to_a_server(folder, url):
    source = open_store(DataFolder(folder))
    (folder / "store.url").write_text(url, "utf-8")
    target = open_store(DataFolder(folder))
    with source._database.reading() as reading, target._database.writing() as writing:
        for table in (schema.identity, schema.counters, schema.settings):
            writing.execute(table.delete())
        for table in schema.metadata.sorted_tables:
            if table is schema.audit:  # it counts its own lines
                continue
            rows = [row._asdict() for row in reading.execute(table.select())]
            if rows:
                writing.execute(table.insert(), rows)
    source.close()
    target.close()


def _came_out(store):
    return {one.number: recompute(record_in_store(store, one.number)) for one in store.certificates.all()}


def test_every_certificate_and_every_course_is_the_same_after_a_clearing_while_readings_come_in(
    desk, make_pack
):
    store = desk.store
    runs = {run.number: [payload for _, payload in store.runs.events(run.number)] for run in store.runs.all()}
    cited = {run: store.packs.kept(citations_in(payloads)) for run, payloads in runs.items()}
    courses = {run: course_of(desk.runs.view(run).state, store) for run in (1, 3)}
    assert all(found.difference is None for found in _came_out(store).values())
    idle = store.idle_readings.count(store.now() - 8 * 86_400.0)
    assert idle > 2000

    arriving = threading.Thread(target=_arrive, args=(store, make_pack))
    arriving.start()
    cleared = clear_idle_readings(store, older_than_days=8)
    arriving.join()

    assert cleared is not None and cleared.count == idle
    assert store.packs.watermark("bench-1", NEW_BOOT) == 400
    assert len(store.readings("bench-1", NEW_BOOT, 1, 400)) == 400  # they came today
    assert any(gap.reason == NOT_KEPT for gap in store.packs.gaps("bench-1", "00000002-0000abcd"))
    assert {run: store.packs.kept(citations_in(payloads)) for run, payloads in runs.items()} == cited
    assert {run: course_of(desk.runs.view(run).state, store) for run in courses} == courses
    assert all(len(course) > 10 for course in courses.values())
    assert all(found.difference is None for found in _came_out(store).values())
    assert store.idle_readings.count(store.now() - 8 * 86_400.0) == 0


def _arrive(store, make_pack):
    for first in range(1, 400, 20):
        packs = [make_pack(seq=seq, boot=NEW_BOOT, rig="rig-bench-1") for seq in range(first, first + 20)]
        store.packs.take(
            [
                Arrival(station="bench-1", payload=encode_readings(pack), received_utc_s=store.now())
                for pack in packs
            ]
        )
