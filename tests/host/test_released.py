"""What released versions wrote must open today: see released/*/README.md."""

import gzip
from pathlib import Path

import pytest

from calibration.conformity import Verdict
from calibration.contract.senml import decode_readings
from host.certificates.canonical import canonical_json, certificate_from_canonical
from host.data_folder import DataFolder
from host.live import Live
from host.order_book import OrderBook
from host.procedures.runs_at_work import RunsAtWork
from host.store import open_store
from host.store.upgrade import needs_upgrade

RELEASED = sorted(path for path in Path(__file__).with_name("released").iterdir() if path.is_dir())


@pytest.fixture(params=RELEASED, ids=lambda path: path.name)
def released(request) -> Path:
    """Folder of what one released version wrote."""
    return request.param


@pytest.fixture
def folder(released, tmp_path) -> DataFolder:
    """A data folder as that version left it."""
    folder = DataFolder(tmp_path / "desk")
    folder.store.write_bytes(gzip.decompress((released / "store.sqlite.gz").read_bytes()))
    if (released / "shop.toml").exists():
        (folder.path / "shop.toml").write_bytes((released / "shop.toml").read_bytes())
    return folder


def test_a_store_of_every_released_version_is_upgraded_and_opens_with_all_it_had(folder, released):
    store = open_store(folder)
    assert not needs_upgrade(store._database, folder.store)
    boot = store.latest_boot("bench-1")
    w = store.watermark("bench-1", boot)
    assert [pack.seq for pack in store.readings("bench-1", boot, 1, w)] == list(range(1, w + 1))
    assert w >= 1000
    issued = store.certificates.get("000001")
    assert issued.files.canonical_json == (released / "certificate-000001.json").read_bytes()
    assert store.register.current("probe") is not None
    assert store.settings.read().shop.name == "Heron Street Garage"
    store.close()
    assert [path.name for path in folder.path.glob("store-before-upgrade-*")] != []


def test_a_run_of_every_released_version_is_still_shown_to_its_verdict(folder):
    store = open_store(folder)
    runs = RunsAtWork(
        store=store, live=Live.from_store(store), book=OrderBook(store, lambda topic, payload: True)
    )
    view = runs.view(1)
    assert view.state.is_over
    assert view.state.certificate == "000001"
    assert view.state.started.item == "Sender, tag 7"
    store.close()


def test_a_certificate_of_every_released_version_is_read_and_says_the_same_again(released):
    text = (released / "certificate-000001.json").read_bytes()
    certificate = certificate_from_canonical(text)
    assert certificate.verdict is Verdict.OUT_OF_TOLERANCE
    again = certificate_from_canonical(canonical_json(certificate))
    assert again == certificate


def test_a_pack_of_every_released_version_is_read(released):
    pack = decode_readings((released / "readings.json").read_bytes(), station="bench-1")
    assert pack.seq == 900
    assert set(pack.channels) >= {"sender", "probe"}
