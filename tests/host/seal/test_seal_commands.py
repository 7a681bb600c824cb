"""``ohmbath certificate verify`` and ``key``, on papers that a desk issued."""

import gzip
import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from host.certificates.canonical import canonical_json
from host.certificates.fingerprint import code_svg, fingerprint, mark_of
from host.certificates.issue import files_of
from host.cli import main
from host.data_folder import DataFolder
from host.procedures.run_kind import RunKind
from host.store import open_store

pytestmark = pytest.mark.slow


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["certificate", *arguments])


@pytest.fixture(scope="module")
def shop(tmp_path_factory, sample) -> tuple[Path, Path]:
    """A desk that has issued one certificate, and its public key."""
    folder = tmp_path_factory.mktemp("desk")
    store = open_store(DataFolder(folder))
    store.stations.add("bench-1")
    number = store.runs.create(station="bench-1", kind=RunKind.SENDER_CHECK, settings={})
    store.certificates.issue(number, lambda place: files_of(sample, store.seal))
    store.close()
    key = folder / "public.pem"
    printed = run("key", "--public", "--data", str(folder))
    assert printed.exit_code == 0, printed.output
    key.write_text(printed.stdout)
    return folder, key


@pytest.fixture
def paper(shop) -> Path:
    return next((shop[0] / "certificates").glob("*.pdf"))


def test_the_four_answers_have_their_exit_codes(shop, paper, tmp_path):
    folder, key = shop
    assert run("verify", str(paper), "--key", str(key)).exit_code == 0
    assert run("verify", str(paper)).exit_code == 3
    altered = tmp_path / "altered.pdf"
    altered.write_bytes(paper.read_bytes().replace(b"/Type /Sig\n", b"/Type /Sih\n"))
    assert run("verify", str(altered), "--key", str(key)).exit_code == 1
    no_paper = tmp_path / "letter.txt"
    no_paper.write_text("Dear shop,")
    assert run("verify", str(no_paper), "--key", str(key)).exit_code == 2
    assert run("verify", str(tmp_path / "nothing.pdf")).exit_code == 2
    assert run("verify", str(paper), "--key", str(no_paper)).exit_code == 2


def test_a_desk_says_how_its_paper_stands_and_knows_none_of_others(shop, paper, tmp_path):
    folder, key = shop
    whole = run("verify", str(paper), "--key", str(key), "--data", str(folder), "--json")
    said = json.loads(whole.stdout)
    assert (said["state"], "in force" in said["desk"]) == ("whole", True)
    store = open_store(DataFolder(folder))
    store.certificates.withdraw(paper.stem, "wrong sender", by="")
    store.close()
    withdrawn = run("verify", str(paper), "--key", str(key), "--data", str(folder))
    assert withdrawn.exit_code == 0
    assert "withdrawn" in withdrawn.stdout and "wrong sender" in withdrawn.stdout


def test_a_released_paper_from_before_there_were_seals_is_known_by_the_desk_that_issued_it(tmp_path):
    released = Path(__file__).parents[1] / "released" / "0.1.0" / "store.sqlite.gz"
    (tmp_path / "store.sqlite").write_bytes(gzip.decompress(released.read_bytes()))
    store = open_store(DataFolder(tmp_path))
    paper = store.certificates.path(store.certificates.all()[0].number)
    store.close()
    alone = run("verify", str(paper))
    assert (alone.exit_code, "no seal" in alone.stdout) == (1, True)
    known = run("verify", str(paper), "--data", str(tmp_path))
    assert (known.exit_code, "byte for byte" in known.stdout) == (0, True)
    paper.write_bytes(paper.read_bytes() + b" ")
    assert run("verify", str(paper), "--data", str(tmp_path)).exit_code == 1


def test_keys_are_kept_restored_and_changed_by_command(shop, tmp_path):
    folder, _ = shop
    words = tmp_path / "words.txt"
    words.write_text("correct horse battery\n")
    kept = tmp_path / "keys.json"
    of_shop = ("key", "--data", str(folder))
    assert run(*of_shop, "backup", str(kept), "--passphrase-file", str(words)).exit_code == 0
    assert kept.stat().st_mode & 0o077 == 0
    assert run(*of_shop, "backup", str(kept), "--passphrase-file", str(words)).exit_code == 2
    other = ("key", "--data", str(tmp_path / "other"))
    assert run(*other, "restore", str(kept), "--passphrase-file", str(words)).exit_code == 0
    before = run(*of_shop, "--public").stdout
    assert run(*other, "--public").stdout == before
    rotated = run(*other, "rotate")
    assert rotated.exit_code == 0, rotated.output
    assert run(*other, "--public").stdout == before


def test_the_code_on_the_paper_says_number_and_fingerprint(sample, tmp_path):
    import io

    import segno
    import zxingcpp
    from PIL import Image

    data = canonical_json(sample)
    mark = mark_of(sample.number, data)
    assert fingerprint(data) in mark.words[1]
    words = f"Certificate {sample.number}, fingerprint {fingerprint(data)}"
    assert code_svg(words) == mark.svg
    drawn = io.BytesIO()
    segno.make(words, error="m", micro=False).save(drawn, kind="png", border=4, scale=4)
    assert zxingcpp.read_barcode(Image.open(drawn)).text == words


@pytest.mark.poppler
def test_the_code_decodes_from_a_print_of_150_dots_an_inch(paper, shop, tmp_path):
    import subprocess

    import zxingcpp
    from PIL import Image

    subprocess.run(
        ["pdftoppm", "-r", "150", "-f", "1", "-l", "1", "-png", str(paper), str(tmp_path / "page")],
        check=True,
    )
    page = next(tmp_path.glob("page*.png"))
    with Image.open(page) as image:
        found = zxingcpp.read_barcodes(image)
    store = open_store(DataFolder(shop[0]))
    data = store.certificates.all()[0].files.canonical_json
    store.close()
    assert [code.text for code in found] == [
        f"Certificate {json.loads(data)['number']}, fingerprint {fingerprint(data)}"
    ]
