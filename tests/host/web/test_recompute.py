"""A certificate worked out again from raw readings: here, from a backup, from a folder elsewhere."""

import gzip
import hashlib
import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from calibration.contract.readings import Insertion
from calibration.contract.senml import encode_readings
from host.backup import make_backup, restore_backup
from host.certificates.canonical import canonical_json, certificate_from_canonical
from host.cli import main
from host.data_folder import DataFolder
from host.procedures.logged import events_of
from host.procedures.record.issued_record import record_in_store
from host.procedures.record.recompute import RecomputeError, recompute, recompute_comparison
from host.procedures.record.record_folder import RecordFolderError, read_record, write_record
from host.procedures.sender import sender_check_settings, sender_result
from host.store import open_store, schema
from host.store.chain_check import check_chain
from host.store.chain_link import sha256_of
from host.web.app import create_app

pytestmark = pytest.mark.slow


@pytest.fixture
def record(finished_desk):
    return record_in_store(finished_desk.store, "000001")


def test_a_run_at_the_bench_comes_out_the_same_from_its_raw_readings(record):
    result = recompute(record)
    assert result.difference is None
    assert not result.is_of_another_method
    names = [name for name, _, _ in result.rows]
    assert "points[0].error_k" in names
    assert all(then == now for _, then, now in result.rows)


def test_a_reading_that_was_altered_is_found_out_and_the_number_named(record, finished_desk):
    def altered(cited):
        return [
            replace(pack, channels={**pack.channels, "probe": replace(probe, raw=probe.raw * 1.0001)})
            if pack.insertion is Insertion.NONE and (probe := pack.channels["probe"]).raw is not None
            else pack
            for pack in record.readings_of(cited)
        ]

    result = recompute(replace(record, readings_of=altered))
    assert result.difference is not None
    assert " is now " in result.difference


def test_a_sentence_that_is_worded_otherwise_today_is_a_remark_and_one_changed_since_is_found(record):
    issued = certificate_from_canonical(record.canonical_json)
    before = canonical_json(replace(issued, sentence="The sender is off, in the words of an earlier day."))
    result = recompute(
        replace(record, canonical_json=before, link={**record.link, "data_sha256": sha256_of(before)})
    )
    assert result.difference is None and not result.is_of_another_method
    assert any("in the words of an earlier day" in one and issued.sentence in one for one in result.remarks)
    changed = recompute(replace(record, canonical_json=before))
    assert changed.difference is not None and "its link in the chain" in changed.difference


COLUMNS = {
    "rig": "rig-of-another",
    "rig_time_s": 1e6,
    "utc_s": 1.75e9,
    "simulated": 0,
    "decade_ohm": 1234.0,
    "insertion": "parallel",
    "range_ohm": 2490.0,
    "digest": "ab" * 32,
}


def _cited_in_the_middle(record):
    return record.kept[len(record.kept) // 2]


def _write(store, one, **columns):
    """Past the program, into the row of a reading."""
    table = schema.packs
    here = (table.c.station == one.station, table.c.boot == one.boot, table.c.seq == one.seq)
    with store._database.writing() as connection:
        connection.execute(table.update().where(*here).values(**columns))


def test_a_column_of_a_cited_reading_that_was_altered_is_the_first_difference(finished_desk, tmp_path):
    store = finished_desk.store
    record = record_in_store(store, "000001")
    one = _cited_in_the_middle(record)
    for column, value in COLUMNS.items():
        _write(store, one, **{column: value})
        changed = record_in_store(store, "000001")
        write_record(store, changed, tmp_path / column)
        for found in (recompute(changed), recompute(read_record(tmp_path / column))):
            assert found.difference.startswith(f"reading {one.seq} of run 0001 (bench-1, boot {one.boot}): ")
            assert "stored" in found.difference and "its message" in found.difference
            assert ("SHA-256" if column == "digest" else column) in found.difference
            assert not found.is_of_another_method
        _write(store, one, **{column: getattr(one, column)})
    assert recompute(record_in_store(store, "000001")).difference is None


def test_a_message_altered_where_no_number_of_the_certificate_rests_on_it_is_found_out(
    finished_desk, tmp_path
):
    """Also with its digest written anew: then by the link of the chain, here and elsewhere."""
    store = finished_desk.store
    one = _cited_in_the_middle(record_in_store(store, "000001"))
    other = replace(one.pack(), taps={"sender.tap0": 4000.0})
    payload = encode_readings(other)
    _write(store, one, payload=payload)
    found = recompute(record_in_store(store, "000001"))
    assert f"reading {one.seq} of run 0001" in found.difference
    assert "SHA-256" in found.difference
    _write(store, one, digest=hashlib.sha256(payload).hexdigest())
    write_record(store, record_in_store(store, "000001"), tmp_path / "elsewhere")
    here = recompute(record_in_store(store, "000001"))
    there = recompute(read_record(tmp_path / "elsewhere"))
    assert here.difference == there.difference
    assert "its link in the chain names" in here.difference
    _write(store, one, payload=one.payload, digest=one.digest, received_utc_s=one.received_utc_s + 1.0)
    assert "what came, or when" in recompute(record_in_store(store, "000001")).difference
    _write(store, one, received_utc_s=one.received_utc_s, payload=b"[]")
    assert "its message cannot be read" in recompute(record_in_store(store, "000001")).difference


def test_a_reading_or_an_event_that_is_gone_or_other_is_found_out(finished_desk):
    store = finished_desk.store
    record = record_in_store(store, "000001")
    first = record.timed_events[0]
    changed = {**first.payload, "settings": {**first.payload["settings"], "customer": "Somebody else"}}
    events = (replace(first, payload=changed), *record.timed_events[1:])
    assert "the events of its run" in recompute(replace(record, timed_events=events)).difference
    assert "are here now" in recompute(replace(record, kept=record.kept[1:])).difference
    assert "its data" in recompute(replace(record, link={**record.link, "data_sha256": ""})).difference


def test_an_issued_number_that_was_altered_by_the_tenth_digit_is_found_out(record):
    data = json.loads(record.canonical_json)
    number = data["body"]["points"][1]["resistance_ohm"]
    number["full"] = repr(float(number["full"]) * (1.0 + 1e-7))
    altered = json.dumps(data).encode()
    result = recompute(replace(record, canonical_json=altered))
    assert result.difference is not None
    assert result.difference.startswith("body.points[1].resistance_ohm")


def test_a_newer_method_leaves_what_was_issued_and_shows_both(record, monkeypatch):
    monkeypatch.setattr(sender_result, "METHOD_VERSION", "99")
    monkeypatch.setattr(sender_check_settings, "METHOD_VERSION", "99")
    result = recompute(record)
    assert result.is_of_another_method
    assert "version 99" in result.method_now
    assert "version 99" not in result.method_then
    assert result.rows


def test_what_an_older_version_issued_stays_and_is_shown_beside_what_comes_out_today(tmp_path):
    released = Path(__file__).parents[1] / "released" / "0.1.0"
    folder = DataFolder(tmp_path / "old")
    folder.store.write_bytes(gzip.decompress((released / "store.sqlite.gz").read_bytes()))
    store = open_store(folder)
    assert check_chain(store.chain, store.certificates).is_whole  # taken over by the upgrade
    result = recompute(record_in_store(store, "000001"))
    assert result.is_of_another_method
    then = {name: float(text) for name, text, _ in result.rows if name.endswith("error_k")}
    now = {name: float(text) for name, _, text in result.rows if name.endswith("error_k")}
    assert then.keys() == now.keys()
    # another method, the same sender: within what either of them says it is sure of
    assert all(abs(then[name] - now[name]) < 0.2 for name in then)
    store.close()


def test_an_exported_folder_is_worked_out_by_another_process_with_no_desk(record, finished_desk, tmp_path):
    folder = tmp_path / "elsewhere"
    names = write_record(finished_desk.store, record, folder)
    assert {"certificate.pdf", "certificate.json", "readings.jsonl", "register.json", "curve.toml"} <= set(
        names
    )
    summed = subprocess.run(["sha256sum", "-c", "SHA256SUMS"], cwd=folder, capture_output=True, check=False)
    assert summed.returncode == 0
    command = [sys.executable, "-m", "host", "certificate", "recompute", "--from", str(folder), "--json"]
    program = "from host.cli import main; main()"
    command[1:3] = ["-c", program]
    found = subprocess.run(
        command, capture_output=True, check=False, text=True, env=_environment(tmp_path / "nobody")
    )
    assert found.returncode == 0, found.stderr
    assert json.loads(found.stdout)["same"] is True


@pytest.mark.parametrize("name", ["readings.jsonl", "run.json", "certificate.json", "chain.json"])
def test_a_folder_in_which_anything_was_altered_is_refused(record, finished_desk, tmp_path, name):
    folder = tmp_path / "elsewhere"
    write_record(finished_desk.store, record, folder)
    content = bytearray((folder / name).read_bytes())
    content[len(content) // 2] ^= 1
    (folder / name).write_bytes(content)
    with pytest.raises(RecordFolderError, match=name):
        read_record(folder)
    with pytest.raises(RecordFolderError, match="not empty"):
        write_record(finished_desk.store, record, folder)


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("register.json", lambda text: text.replace('"expanded_u_k": 0.05', '"expanded_u_k": 0.06')),
        ("curve.toml", lambda text: text.replace("80", "81", 1)),
        ("readings.jsonl", lambda text: text[: text.rindex("\n", 0, -1) + 1]),
    ],
)
def test_what_lies_beside_a_run_has_to_be_what_the_run_says(record, finished_desk, tmp_path, name, change):
    """Also where somebody wrote the digests anew."""
    folder = tmp_path / "elsewhere"
    write_record(finished_desk.store, record, folder)
    before = (folder / name).read_text("utf-8")
    (folder / name).write_text(change(before), "utf-8")
    assert (folder / name).read_text("utf-8") != before
    _sum_anew(folder, name)
    with pytest.raises(RecordFolderError, match=name):
        read_record(folder)


def _sum_anew(folder, *names):
    sums = {line.partition("  ")[2]: line.partition("  ")[0] for line in _lines(folder / "SHA256SUMS")}
    for name in names:
        sums[name] = hashlib.sha256((folder / name).read_bytes()).hexdigest()
    (folder / "SHA256SUMS").write_text("".join(f"{digest}  {one}\n" for one, digest in sums.items()))


def test_a_folder_of_before_with_messages_alone_is_worked_out_and_a_damaged_line_is_not(
    record, finished_desk, tmp_path
):
    folder = tmp_path / "elsewhere"
    write_record(finished_desk.store, record, folder)
    (folder / "run.json").write_text(
        (folder / "run.json").read_text("utf-8").replace('"version": 2', '"version": 1')
    )
    kept = [json.loads(line) for line in _lines(folder / "readings.jsonl")]
    lines = [{name: one[name] for name in ("station", "boot", "seq", "payload")} for one in kept]
    (folder / "readings.jsonl").write_text("".join(f"{json.dumps(one)}\n" for one in lines))
    _sum_anew(folder, "run.json", "readings.jsonl")
    assert recompute(read_record(folder)).difference is None
    (folder / "readings.jsonl").write_text("".join(f"{json.dumps(one)}\n" for one in [{}, *lines[1:]]))
    _sum_anew(folder, "readings.jsonl")
    with pytest.raises(RecordFolderError, match="no whole record"):
        read_record(folder)
    os.remove(folder / "readings.jsonl")
    os.mkfifo(folder / "readings.jsonl")
    with pytest.raises(RecordFolderError, match="is a pipe and no file"):
        read_record(folder)


def _lines(path):
    return path.read_text("utf-8").splitlines()


def test_a_backup_taken_at_work_is_restored_and_worked_out_again(finished_desk, tmp_path):
    desk = finished_desk
    bench = desk.benches["bench-1"]
    bench.boot = "00000002-0000abcd"
    bench.say(boot=bench.boot)
    bench.read(8)  # it goes on reading
    make_backup(DataFolder(desk.folder), desk.store, tmp_path / "shop.ohmbath")
    bench.read(8)
    restore_backup(tmp_path / "shop.ohmbath", tmp_path / "restored")
    restored = open_store(DataFolder(tmp_path / "restored"))
    assert recompute(record_in_store(restored, "000001")).difference is None
    assert restored.certificates.get("000001") == desk.store.certificates.get("000001")
    restored.close()


def test_a_typed_run_comes_out_the_same(small_desk, tmp_path):
    desk = small_desk(tmp_path / "typed")
    browser = create_app(desk).test_client()
    rows = {f"temperature_{n}": t for n, t in enumerate(("25", "60", "80"), start=1)}
    rows |= {f"resistance_{n}": r for n, r in enumerate(("2000", "585", "310"), start=1)}
    typed = {"item": "sender, tag 7", "curve": "ntc-310-80c", "rule": "guarded", "limit_k": "5"} | rows
    assert browser.post("/typed", data=typed).status_code == 303
    result = recompute(record_in_store(desk.store, "000001"))
    assert result.difference is None
    assert len(result.rows) > 10


def test_a_comparison_on_the_vehicle_comes_to_the_same_words(small_desk, tmp_path):
    desk = small_desk(tmp_path / "vehicle")
    browser = create_app(desk).test_client()
    browser.post("/on-the-vehicle", data={"item": "the blue van", "curve": "ntc-2k5-20c"})
    spot = {"surface": "vinyl electrical tape", "set_emissivity": "0.95", "surroundings": "40"}
    for step, typed in (
        ("thermostat", {"thermostat": "fully open"}),
        ("scan_data", {"shown": "70"}),
        ("head", {"shown": "89", **spot}),
    ):
        browser.post("/on-the-vehicle/1/read", data={"step": step, **typed})
    with pytest.raises(RecomputeError, match="came to no result"):
        recompute_comparison(1, events_of(desk.store, 1))
    browser.post("/on-the-vehicle/1/finish")
    events = events_of(desk.store, 1)
    assert recompute_comparison(1, events).difference is None
    said = {**events[-1].payload, "words": "All is well."}
    other = recompute_comparison(1, [*events[:-1], replace(events[-1], payload=said)])
    assert other.difference is not None
    assert "All is well." in other.difference


def test_every_other_kind_comes_out_the_same_from_a_folder_on_another_machine(
    finished_desk, tmp_path, store_elsewhere
):
    desk = finished_desk
    desk.store.settings.change({"time_zone": "Asia/Kathmandu"})
    browser = create_app(desk).test_client()
    browser.post("/runs/1/channel")
    _typed(browser)
    _on_the_vehicle(browser, run=4)
    _probe_checked(browser)
    _infrared_checked(browser, run=6)
    kinds = {}
    for issued in desk.store.certificates.all():
        again = store_elsewhere(desk.store, issued.number)
        record = read_record(again)
        result = recompute(record)
        assert result.difference is None, record.kind
        assert not result.is_of_another_method
        kinds[record.kind] = certificate_from_canonical(issued.files.canonical_json).measured
    assert set(kinds) == {
        "sender_check", "channel_check", "hand_check", "in_place", "probe_check", "infrared_check"
    }  # fmt: skip
    assert kinds["in_place"].endswith("UTC+05:45")


@pytest.fixture
def store_elsewhere(tmp_path):
    """Folder of a certificate, as another machine gets it."""

    def exported(store, number):
        folder = tmp_path / f"elsewhere-{number}"
        write_record(store, record_in_store(store, number), folder)
        return folder

    return exported


def _typed(browser):
    rows = {"temperature_1": "80", "resistance_1": "310", "curve": "ntc-310-80c", "limit_k": "5"}
    assert browser.post("/typed", data={"item": "sender, tag 7", "rule": "guarded"} | rows).status_code == 303


def _on_the_vehicle(browser, run):
    assert browser.post("/on-the-vehicle", data={"item": "the blue van", "curve": "ntc-2k5-20c"})
    spot = {"surface": "vinyl electrical tape", "set_emissivity": "0.95", "surroundings": "40"}
    for typed in (
        {"step": "thermostat", "thermostat": "fully open"},
        {"step": "scan_data", "shown": "70"},
        {"step": "head", "shown": "89", **spot},
    ):
        browser.post(f"/on-the-vehicle/{run}/read", data=typed)
    assert browser.post(f"/on-the-vehicle/{run}/finish").status_code == 303


def _probe_checked(browser):
    ohms = {"ice_ohm": "32650", "ice_error_ohm": "30", "boiling_ohm": "680", "boiling_error_ohm": "1"}
    assert browser.post("/probe-check", data=ohms | {"pressure": "1000hPa"}).status_code == 303


def _infrared_checked(browser, run):
    begun = {
        "item": "Infrared thermometer, tag I-7", "thermometer": "entered", "serial": "I-7",
        "resolution_k": "0.1", "accuracy_k": "2", "emissivity": "settable", "distance_to_spot": "12",
        "band_from_um": "8", "band_to_um": "14", "reference": "entered", "reference_serial": "T-2",
        "reference_resolution_k": "0.1", "reference_u_k": "0.5", "target": "taped_face",
        "surface": "ultra-flat black spray paint", "target_mm": "100", "distance_mm": "300",
        "set_emissivity": "0.95", "air": "23", "set_points": "45 65 90", "job": "J-9",
    }  # fmt: skip
    assert browser.post("/infrared", data=begun).status_code == 303
    for step in range(1, 5):
        browser.post(f"/infrared/{run}/next", data={"step": str(step)})
    for step, point in ((5, 45), (6, 65), (7, 90)):
        for off_k in (1.0, 1.1, 0.9):
            typed = {"shown": f"{point + off_k}", "reference": f"{point}"}
            assert browser.post(f"/infrared/{run}/shot", data=typed).status_code == 303
        assert browser.post(f"/infrared/{run}/next", data={"step": str(step)}).status_code == 303
    assert browser.post(f"/infrared/{run}/next", data={"step": "8"}).status_code == 303


def test_the_command_says_the_same_with_its_exit_code(finished_desk, tmp_path):
    folder = str(finished_desk.folder)
    runner = CliRunner()
    same = runner.invoke(main, ["certificate", "recompute", "000001", "--data", folder])
    assert (same.exit_code, "the same" in same.output) == (0, True)
    unknown = runner.invoke(main, ["certificate", "recompute", "000009", "--data", folder])
    assert unknown.exit_code == 2
    nothing = runner.invoke(main, ["certificate", "recompute", "--data", folder])
    assert nothing.exit_code == 2
    chain = runner.invoke(main, ["certificate", "chain", "--data", folder])
    assert (chain.exit_code, "Whole: 1 links" in chain.output) == (0, True)
    target = tmp_path / "out"
    assert (
        runner.invoke(main, ["certificate", "export", "000001", str(target), "--data", folder]).exit_code == 0
    )
    there = runner.invoke(main, ["certificate", "recompute", "--from", str(target)])
    assert there.exit_code == 0


def _environment(home: Path) -> dict[str, str]:
    return {**os.environ, "HOME": str(home), "OHMBATH_DATA": str(home / "no-desk")}
