"""A desk that was restored without its keys makes no new root by itself."""

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from host.certificates.issue import files_of
from host.cli import main
from host.data_folder import DataFolder
from host.procedures.run_kind import RunKind
from host.seal.errors import SealError
from host.seal.key_ring import KeyRing
from host.store import Store, open_store
from host.store.certificates import IssuedFiles

pytestmark = pytest.mark.slow

SHOP = "Plover & Tansy Motor Works"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, list(map(str, arguments)))


def issue(store: Store, sample) -> str:
    number = store.runs.create(station="bench-1", kind=RunKind.SENDER_CHECK, settings={})
    return store.certificates.issue(number, lambda place: files_of(sample, store.seal))


@pytest.fixture
def shop(tmp_path, sample) -> Path:
    """Data folder of a desk that has sealed a certificate; its keys are kept in a copy beside it."""
    folder = tmp_path / "old"
    store = open_store(DataFolder(folder))
    store.settings.change({"shop_name": SHOP})
    store.stations.add("bench-1")
    issue(store, sample)
    store.close()
    (tmp_path / "words").write_text("correct horse battery\n")
    words = ("--passphrase-file", tmp_path / "words")
    assert run("certificate", "key", "backup", tmp_path / "k.json", *words, "--data", folder).exit_code == 0
    assert run("backup", tmp_path / "shop.ohmbath", "--data", folder).exit_code == 0
    return folder


@pytest.fixture
def restored(shop, tmp_path) -> Path:
    """The desk in a new folder, from its backup."""
    said = run("restore", tmp_path / "shop.ohmbath", "--data", tmp_path / "new")
    assert said.exit_code == 0, said.output
    assert f"ohmbath certificate key restore FILE --data {tmp_path / 'new'}" in said.stdout
    return tmp_path / "new"


def test_a_restored_desk_seals_nothing_before_its_keys_are_there_and_then_under_the_same_public_key(
    restored, shop, sample, tmp_path
):
    store = open_store(DataFolder(restored))
    with pytest.raises(SealError, match="certificate key restore FILE"):
        issue(store, sample)
    assert not store.seal.keys.exists
    assert len(store.certificates.all()) == 1
    asked = run("certificate", "key", "--public", "--data", restored)
    assert (asked.exit_code, asked.stdout) == (2, "")
    assert "bring its keys first" in asked.stderr
    assert not store.seal.keys.exists
    words = ("--passphrase-file", tmp_path / "words")
    brought = run("certificate", "key", "restore", tmp_path / "k.json", *words, "--data", restored)
    assert brought.exit_code == 0, brought.output
    number = issue(store, sample)
    public = tmp_path / "old.pem"
    public.write_text(run("certificate", "key", "--public", "--data", shop).stdout)
    paper = store.certificates.path(number)
    assert run("certificate", "verify", paper, "--key", public).exit_code == 0
    store.close()


def test_a_new_root_beside_sealed_certificates_is_made_only_where_the_old_one_is_said_to_be_lost(
    restored, sample
):
    refused = run("certificate", "key", "new", "--data", restored)
    assert refused.exit_code == 2
    assert "--old-keys-are-lost" in refused.stderr
    made = run("certificate", "key", "new", "--old-keys-are-lost", "--data", restored)
    assert made.exit_code == 0, made.output
    store = open_store(DataFolder(restored))
    issue(store, sample)
    store.close()
    again = run("certificate", "key", "new", "--old-keys-are-lost", "--data", restored)
    assert (again.exit_code, "has keys already" in again.stderr) == (2, True)


def test_asking_for_the_public_key_makes_none(tmp_path):
    asked = run("certificate", "key", "--public", "--data", tmp_path)
    assert asked.exit_code == 2
    assert "the first certificate makes them" in asked.stderr
    assert not KeyRing(DataFolder(tmp_path).keys).exists
    assert not DataFolder(tmp_path).has_store


def test_papers_of_the_first_desks_that_bear_no_seal_ask_for_no_keys(tmp_path):
    store = open_store(DataFolder(tmp_path))
    number = store.runs.create(station=None, kind=RunKind.SENDER_CHECK, settings={})
    bare = IssuedFiles(verdict="", pdf=b"%PDF-1.7", canonical_json=b"{}", chart_svg=b"<svg/>")
    store.certificates.issue(number, lambda place: bare)
    assert not store.certificates.any_sealed()
    store.close()


def test_a_desk_that_has_sealed_nothing_makes_its_keys_when_told_to(tmp_path):
    store = open_store(DataFolder(tmp_path))
    store.settings.change({"shop_name": SHOP})
    store.close()
    assert run("certificate", "key", "--data", tmp_path, "new").exit_code == 0
    printed = run("certificate", "key", "--public", "--data", tmp_path).stdout
    assert printed.startswith("-----BEGIN CERTIFICATE-----")
    # The folder after the subcommand counts, and before it too.
    assert (
        run("certificate", "key", "--data", tmp_path / "elsewhere", "rotate", "--data", tmp_path).exit_code
        == 0
    )
    assert run("certificate", "key", "--public", "--data", tmp_path).stdout == printed


@pytest.mark.parametrize(
    ("arguments", "way"),
    [
        (("certificate", "key", "backup", "x", "--nothing"), "ohmbath certificate key backup --help"),
        (("certificate", "label", "--nothing"), "ohmbath certificate label --help"),
        (("register", "add"), "ohmbath register add --help"),
        (("restore",), "ohmbath restore --help"),
    ],
)
def test_a_refusal_names_the_whole_command_whose_help_shows_how(arguments, way):
    refused = run(*arguments)
    assert refused.exit_code == 2
    assert f"({way} shows how)" in refused.stderr
