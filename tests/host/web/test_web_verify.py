"""A paper verified by whoever holds it, signed in or not."""

import datetime
import re

import pytest

from host.certificates.fingerprint import fingerprint
from host.people.role import Role
from host.procedures.authorisation import amend, authorise
from host.procedures.record.paper_at_desk import LARGEST_PAPER
from host.seal import key_ring
from host.seal.key_ring import KeyRing
from host.seal.sealing import sealed
from host.web.app import create_app
from host.web.form_key import FIELD

pytestmark = pytest.mark.slow

AT = datetime.datetime(2026, 11, 25, 12, 0, tzinfo=datetime.UTC)
CUSTOMER = "Fennimore"


@pytest.fixture
def somebody(finished_desk):
    """Whoever it is, at a desk that has accounts, signed in as nobody."""
    finished_desk.store.people.add("Ida", frozenset({Role.AUTHORISER}), password_hash="none")
    return create_app(finished_desk).test_client()


@pytest.fixture
def issued(finished_desk):
    return finished_desk.store.certificates.all()[0]


def verify(browser, file: bytes):
    """Send a file as a form does, written out: the client's own way leaves large ones open."""
    head = '--edge\r\nContent-Disposition: form-data; name="{}"{}\r\n\r\n'
    key = head.format(FIELD, "") + browser._key() + "\r\n"
    begin = key + head.format("paper", '; filename="paper.pdf"')
    data = begin.encode("ascii") + file + b"\r\n--edge--\r\n"
    return browser.post("/verify", data=data, content_type="multipart/form-data; boundary=edge")


def ask(browser, number: str, print_: str):
    return browser.post("/verify/number", data={"number": number, "fingerprint": print_})


def finding(answer) -> str:
    """Words of what was found, without the forms and the frame of the page."""
    found = re.search(r'<section class="finding".*?</section>', answer.text, re.DOTALL)
    assert found is not None
    return " ".join(re.sub(r"<[^>]*>", " ", found[0]).split())


def test_a_stranger_is_told_that_the_paper_is_whole_and_what_the_desk_knows_of_it(somebody, issued):
    assert somebody.get("/certificates").status_code in (303, 401)
    assert "Verify the file" in somebody.get("/verify").text
    said = finding(verify(somebody, issued.files.pdf))
    for words in ("Whole, and sealed by this shop", "in force", issued.number, "coolant temperature sender"):
        assert words in said
    assert CUSTOMER not in said


@pytest.mark.parametrize("place", [100, 20_000, -2_000, -1])
def test_one_flipped_bit_is_altered_and_tells_nothing_of_what_was_issued(somebody, issued, place):
    altered = bytearray(issued.files.pdf)
    altered[place] ^= 1
    said = finding(verify(somebody, bytes(altered)))
    assert "Altered" in said and "Whole" not in said
    assert issued.number not in said


def test_a_forger_s_paper_is_not_sealed_by_this_shop(somebody, issued, finished_desk, tmp_path):
    forger = KeyRing(tmp_path / "forged")
    key_ring.new_private_key()  # not the shop's own
    key_ring.new_private_key()
    forger.make(finished_desk.store.settings.read().shop.name)
    assert (
        forger.root_public().public_numbers() != finished_desk.store.seal.keys.root_public().public_numbers()
    )
    forged = sealed(unsealed_part(issued.files.pdf), forger.signing_key(), shop="x", at=AT)
    said = finding(verify(somebody, forged))
    assert "Not sealed by this shop" in said and "do not rely on it" in said
    assert issued.number not in said


def test_a_paper_without_its_seal_is_said_to_be_without_one(somebody, issued):
    assert "Without a seal" in finding(verify(somebody, unsealed_part(issued.files.pdf)))


def unsealed_part(paper: bytes) -> bytes:
    """The paper as it was before the seal was added behind it."""
    return paper[: paper.index(b"%%EOF") + len(b"%%EOF")]


def test_a_withdrawn_paper_is_whole_and_no_longer_holds(somebody, issued, finished_desk):
    finished_desk.store.certificates.withdraw(issued.number, "The probe had failed.", by="Ida")
    said = finding(verify(somebody, issued.files.pdf))
    assert "sealed by this shop, but withdrawn" in said and "The probe had failed." in said
    assert "Ida" not in said
    by_number = finding(ask(somebody, issued.number, fingerprint(issued.files.canonical_json)))
    assert "withdrawn" in by_number and "The probe had failed." not in by_number


def test_a_superseded_paper_names_the_one_that_took_its_place(somebody, issued, finished_desk):
    store = finished_desk.store
    outcome = amend(store, issued.number, {"item": "Sender, tag 8"}, "The tag was wrong.", by="Ida")
    number = authorise(store, outcome.draft, by="Ida")
    said = finding(verify(somebody, issued.files.pdf))
    assert "sealed by this shop, but superseded" in said
    assert f"superseded by certificate {number}" in said


def test_a_sealed_paper_that_the_desk_never_kept_is_said_to_be_unknown_here(somebody, issued, finished_desk):
    bare = unsealed_part(issued.files.pdf)
    other = sealed(bare, finished_desk.store.seal.keys.signing_key(), shop="x", at=AT)
    said = finding(verify(somebody, other))
    assert "sealed by this shop" in said and "no record of it" in said


def test_what_is_no_paper_is_refused_beside_the_field(somebody):
    for file, words in ((b"", "Choose the file"), (b"\x89PNG\r\n", "no PDF file")):
        refused = verify(somebody, file)
        assert refused.status_code == 422
        assert re.search(rf'id="paper-wrong">[^<]*{words}', refused.text)


@pytest.mark.parametrize(("more", "code"), [(1, 422), (5_000_000, 413)])
def test_a_file_that_is_too_large_is_refused_beside_the_field(somebody, more, code):
    refused = verify(somebody, b"%PDF-1.7\n".ljust(LARGEST_PAPER + more, b"x"))
    assert refused.status_code == code
    assert re.search(r'id="paper-wrong">[^<]*over 10 MB', refused.text)


def test_nothing_of_a_file_is_kept(somebody, finished_desk, issued):
    def everything():
        folder = finished_desk.store.certificates._folder.parent
        return {path: path.stat().st_size for path in folder.rglob("*") if path.is_file()}

    counts, files = finished_desk.store.counts(), everything()
    verify(somebody, issued.files.pdf + b"altered")
    verify(somebody, issued.files.pdf)
    assert finished_desk.store.counts() == counts
    assert everything().keys() == files.keys()


def test_number_and_fingerprint_tell_how_it_stands_and_nothing_else(somebody, issued):
    print_ = fingerprint(issued.files.canonical_json)
    for typed in (print_, print_.lower(), print_.replace("-", " "), print_.replace("-", "")):
        said = finding(ask(somebody, issued.number, typed))
        assert "Issued here" in said and f"Certificate {issued.number} is in force" in said
        assert "Sender" not in said and CUSTOMER not in said and "2026" not in said


def test_a_wrong_fingerprint_tells_no_more_than_a_number_that_was_never_given(somebody, issued):
    print_ = fingerprint(issued.files.canonical_json)
    other = ("0" if print_[0] != "0" else "1") + print_[1:]
    wrong = finding(ask(somebody, issued.number, other))
    assert wrong == finding(ask(somebody, "777777", other)) == finding(ask(somebody, "777777", print_))
    assert wrong == finding(ask(somebody, issued.number, print_[:-1])) == finding(ask(somebody, "\x00", "é"))
    assert "Not known here" in wrong and issued.number not in wrong


def test_what_was_left_out_is_asked_for_beside_its_field_and_the_rest_is_kept(somebody):
    refused = ask(somebody, "000001", " ")
    assert refused.status_code == 422
    assert re.search(r'id="fingerprint-wrong">Type', refused.text)
    assert 'value="000001"' in refused.text


def test_a_desk_whose_key_cannot_be_read_says_so_and_calls_nothing_altered(somebody, issued, finished_desk):
    keys = finished_desk.store.seal.keys
    (keys.folder / "root.pem").write_text("-----BEGIN NONSENSE-----")
    refused = verify(somebody, issued.files.pdf)
    assert refused.status_code == 503
    assert "nothing was checked" in refused.text


def test_every_page_leads_there(somebody, finished_desk):
    assert 'href="/verify"' in somebody.get("/verify").text
    assert 'href="/verify"' in somebody.get("/help/verify").text
