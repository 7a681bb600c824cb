"""What released versions wrote must open today: see released/*/README.md."""

import gzip
import json
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import rsa

from calibration.conformity import Verdict
from calibration.contract.senml import decode_readings
from host.certificates.canonical import canonical_json, certificate_from_canonical
from host.cli import main
from host.data_folder import DataFolder
from host.live import Live
from host.order_book import OrderBook
from host.procedures.runs_at_work import RunsAtWork
from host.seal.seal_check import SealState, check_seal, public_key_in
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


SEALED = [path for path in RELEASED if (path / "record.zip").exists()]


@pytest.fixture(scope="module", params=SEALED, ids=lambda path: path.name)
def sealed(request, tmp_path_factory) -> tuple[Path, Path]:
    """What stands behind a sealed paper of one version, as a folder, and the public key of its shop."""
    record = tmp_path_factory.mktemp(request.param.name) / "record"
    with zipfile.ZipFile(request.param / "record.zip") as archive:
        archive.extractall(record)
    return record, request.param / "public.pem"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["certificate", *map(str, arguments)])


def test_every_version_from_the_first_with_seals_has_kept_a_sealed_paper():
    assert SEALED == RELEASED


def test_a_sealed_paper_of_every_version_still_verifies_and_by_its_own_key_alone(sealed, tmp_path):
    record, key = sealed
    paper = record / "certificate.pdf"
    assert run("verify", paper, "--key", key).exit_code == 0
    assert run("verify", paper).exit_code == 3
    other = rsa.generate_private_key(public_exponent=65537, key_size=2048).public_key()
    pem = other.public_bytes(serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo)
    (tmp_path / "other.pem").write_bytes(pem)
    assert run("verify", paper, "--key", tmp_path / "other.pem").exit_code == 1
    altered = bytearray(paper.read_bytes())
    altered[len(altered) // 2] ^= 0x10
    (tmp_path / "altered.pdf").write_bytes(altered)
    assert run("verify", tmp_path / "altered.pdf", "--key", key).exit_code == 1


@pytest.mark.slow
def test_every_bit_that_is_flipped_in_a_sealed_paper_of_every_version_is_still_seen(sealed):
    record, key = sealed
    whole = (record / "certificate.pdf").read_bytes()
    public = public_key_in(key.read_bytes())
    assert check_seal(whole, public).state is SealState.WHOLE
    for at in (*range(0, len(whole), len(whole) // 300), len(whole) - 1):
        altered = bytearray(whole)
        altered[at] ^= 1 << (at % 8)
        assert check_seal(bytes(altered), public).state in (SealState.ALTERED, SealState.UNREADABLE), at


@pytest.mark.slow
def test_a_certificate_of_every_version_is_worked_out_again_from_its_folder(sealed):
    """The same, or by another method with old beside new; a version under way may say other sentences."""
    record, key = sealed
    found = run("recompute", "--from", record, "--json")
    said = json.loads(found.stdout)
    assert said["numbers"]
    if found.exit_code == 3:
        assert said["newer_method"] and said["method_then"] != said["method_now"]
        return
    assert [(one["name"], one["then"]) for one in said["numbers"]] == [
        (one["name"], one["now"]) for one in said["numbers"]
    ]
    if _is_released(key.parent.name):
        assert (found.exit_code, said["same"]) == (0, True)
    else:
        assert found.exit_code == (0 if said["same"] else 1)


def _is_released(version: str) -> bool:
    changelog = (Path(__file__).parents[2] / "CHANGELOG.md").read_text("utf-8")
    return f"## {version} (unreleased)" not in changelog
