import os
import threading
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from calibration.contract.senml import encode_readings
from host.backup import BackupError, make_backup, reminder, restore_backup
from host.cli import main
from host.data_folder import DataFolder
from host.store import open_store
from host.store.certificates import IssuedFiles
from host.store.packs import Arrival

pytestmark = pytest.mark.slow

DAY_S = 86_400.0
BOOT = "00000001-0a0b0c0d"
FILES = IssuedFiles(verdict="in_tolerance", pdf=b"%PDF-1.7 paper", canonical_json=b"{}", chart_svg=b"<svg/>")


@pytest.fixture
def folder(tmp_path, make_pack) -> Iterator[DataFolder]:
    """Data folder of a desk with readings, a certificate and settings."""
    folder = DataFolder(tmp_path / "desk")
    store = open_store(folder)
    store.stations.add("bench-1")
    store.settings.change({"shop_name": "Heron Street Garage"})
    store.packs.take([arrival(make_pack(seq=seq)) for seq in range(1, 101)])
    run = store.runs.create(station="bench-1", kind="sender_check", settings={"item": "Sender"})
    store.certificates.issue(run, lambda number: FILES)
    store.close()
    yield folder


def arrival(pack):
    return Arrival(station=pack.station, payload=encode_readings(pack), received_utc_s=0.0)


def back_up(folder: DataFolder, file: Path):
    store = open_store(folder)
    try:
        return make_backup(folder, store, file)
    finally:
        store.close()


def test_a_restored_desk_has_everything_and_a_new_epoch(folder, tmp_path):
    manifest = back_up(folder, tmp_path / "shop.ohmbath")
    assert manifest.last_certificate == "000001"
    _, epoch = restore_backup(tmp_path / "shop.ohmbath", tmp_path / "new")
    before, after = open_store(folder), open_store(DataFolder(tmp_path / "new"))
    assert after.identity.store == before.identity.store
    assert after.identity.epoch == epoch == before.identity.epoch + 1
    assert after.settings.read().shop.name == "Heron Street Garage"
    assert after.readings("bench-1", BOOT, 1, 200) == before.readings("bench-1", BOOT, 1, 200)
    assert after.watermark("bench-1", BOOT) == 100
    assert after.certificates.get("000001").files == FILES
    assert (tmp_path / "new" / "certificates" / "000001.pdf").read_bytes() == FILES.pdf
    before.close()
    after.close()


def test_a_backup_made_while_the_desk_writes_is_whole(folder, tmp_path, make_pack, until):
    desk = open_store(folder)
    done = threading.Event()
    written = []

    def write() -> None:
        for seq in range(101, 20_000):
            if done.is_set():
                return
            desk.packs.take([arrival(make_pack(seq=seq))])
            written.append(seq)

    writer = threading.Thread(target=write)
    writer.start()
    until(lambda: written, "the desk writes")
    for number in range(5):
        back_up(folder, tmp_path / f"{number}.ohmbath")
        so_far = len(written)
        until(lambda so_far=so_far: len(written) > so_far, "the desk goes on writing")
    done.set()
    writer.join()
    desk.close()
    marks = []
    for number in range(5):
        restore_backup(tmp_path / f"{number}.ohmbath", tmp_path / f"new-{number}")
        restored = open_store(DataFolder(tmp_path / f"new-{number}"))
        w = restored.watermark("bench-1", BOOT)
        assert [pack.seq for pack in restored.readings("bench-1", BOOT, 1, 30_000)] == list(range(1, w + 1))
        marks.append(w)
        restored.close()
    assert marks == sorted(marks)
    assert 100 <= marks[0] < marks[-1]


def test_nothing_is_overwritten(folder, tmp_path):
    file = tmp_path / "shop.ohmbath"
    back_up(folder, file)
    with pytest.raises(BackupError, match="there already"):
        back_up(folder, file)
    with pytest.raises(BackupError, match="not empty"):
        restore_backup(file, folder.path)
    assert open_store(folder).close() is None


@pytest.mark.parametrize("share", [0.05, 0.3, 0.5, 0.7, 0.95])
def test_a_damaged_backup_is_refused_and_leaves_no_folder_behind(folder, tmp_path, share):
    file = tmp_path / "shop.ohmbath"
    back_up(folder, file)
    content = bytearray(file.read_bytes())
    content[int(len(content) * share)] ^= 0x10
    file.write_bytes(content)
    try:
        restore_backup(file, tmp_path / "new")
    except BackupError:
        assert not (tmp_path / "new").exists()
    else:  # a flipped bit in what a ZIP does not use
        assert restored_readings(tmp_path / "new") == 100


def restored_readings(path: Path) -> int:
    store = open_store(DataFolder(path))
    count = len(store.readings("bench-1", BOOT, 1, 200))
    store.close()
    return count


@pytest.mark.parametrize("length", [0, 100, 5000])
def test_a_backup_that_was_cut_short_is_refused(folder, tmp_path, length):
    file = tmp_path / "shop.ohmbath"
    back_up(folder, file)
    file.write_bytes(file.read_bytes()[:length])
    with pytest.raises(BackupError, match="no whole backup"):
        restore_backup(file, tmp_path / "new")
    assert not (tmp_path / "new").exists()


def test_a_backup_of_a_newer_version_is_refused(folder, tmp_path):
    file, newer = tmp_path / "shop.ohmbath", tmp_path / "newer.ohmbath"
    back_up(folder, file)
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(newer, "w") as new:
        text = old.read("backup.json").decode()
        revision = text.split('"revision": "')[1].split('"')[0]
        new.writestr("backup.json", text.replace(f'"{revision}"', '"9999"'))
        new.writestr("store.sqlite", old.read("store.sqlite"))
    with pytest.raises(BackupError, match="upgrade first"):
        restore_backup(newer, tmp_path / "new")


def test_only_its_owner_reads_a_backup(folder, tmp_path):
    back_up(folder, tmp_path / "shop.ohmbath")
    assert os.stat(tmp_path / "shop.ohmbath").st_mode & 0o077 == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == ["desk", "shop.ohmbath"]


def test_a_week_without_a_backup_is_said_and_a_backup_ends_it(folder, tmp_path):
    clock = [1_800_000_000.0]
    store = open_store(folder, now=lambda: clock[0])
    since_utc_s = store.runs.get(1).started_utc_s
    assert reminder(store, since_utc_s + 6.9 * DAY_S) is None
    assert "work of 7 days has no backup" in reminder(store, since_utc_s + 7.1 * DAY_S)
    make_backup(folder, store, tmp_path / "shop.ohmbath")
    assert reminder(store, clock[0] + 6.9 * DAY_S) is None
    assert "8 days old" in reminder(store, clock[0] + 8.1 * DAY_S)
    store.close()


def test_nobody_is_reminded_of_a_simulated_bench_alone(tmp_path):
    store = open_store(DataFolder(tmp_path))
    store.stations.add("simulated-1")
    store.runs.create(station="simulated-1", kind="sender_check", settings={"probe": {"simulated": True}})
    assert reminder(store, store.now() + 100 * DAY_S) is None
    store.close()


def test_the_commands_say_what_they_did(folder, tmp_path):
    file, new = str(tmp_path / "shop.ohmbath"), str(tmp_path / "new")
    made = CliRunner().invoke(main, ["backup", file, "--data", str(folder.path)])
    assert made.exit_code == 0 and "whole" in made.output
    restored = CliRunner().invoke(main, ["restore", file, "--data", new])
    assert restored.exit_code == 0 and "epoch 2" in restored.output
    again = CliRunner().invoke(main, ["restore", file, "--data", new])
    assert again.exit_code == 2 and "not empty" in again.output
