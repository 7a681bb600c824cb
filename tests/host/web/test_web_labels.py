"""Labels from the desk: of what is in force alone, one by one or ticked in the list."""

import io
from datetime import date

import pypdf
import pytest
from click.testing import CliRunner

from host.certificates.fingerprint import fingerprint
from host.cli import main
from host.labels import NoLabelError, labels_of
from host.store.register_file import register_entry

pytestmark = pytest.mark.slow

TYPED = {
    "curve": "ntc-310-80c",
    "rule": "guarded",
    "temperature_1": "80",
    "resistance_1": "310",
    "limit_k": "5",
}


@pytest.fixture
def store(desk, browser):
    """A store with three typed certificates: the first withdrawn, the second superseded by a fourth."""
    for tag in (1, 2, 3):
        assert browser.post("/typed", data=TYPED | {"item": f"sender, tag {tag}"}).status_code == 303
    browser.post("/certificates/000001/withdraw", data={"reason": "the thermometer was broken"})
    amended = {"item": "sender, tag 22", "why": "tag was misread"}
    assert browser.post("/certificates/000002/amend", data=amended).status_code == 303
    return desk.store


def text_of(pdf: bytes) -> str:
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).replace("\u200b", "").split())


def test_a_label_is_printed_from_the_page_and_the_result_of_a_certificate_in_force_alone(store, browser):
    answer = browser.get("/certificates/000003/label.pdf")
    assert (answer.status_code, answer.mimetype) == (200, "application/pdf")
    assert "000003 sender, tag 3 issued" in text_of(answer.data)
    assert "due" not in text_of(answer.data)
    for address in ("/certificates/000003", "/typed/3"):
        assert "/certificates/000003/label.pdf" in browser.get(address).text
    for address in ("/certificates/000001", "/typed/1", "/certificates/000002"):
        assert "label.pdf" not in browser.get(address).text
    withdrawn = browser.get("/certificates/000001/label.pdf")
    assert withdrawn.status_code == 409
    assert "Certificate 000001 is withdrawn: no label is printed of it" in withdrawn.text
    superseded = browser.get("/certificates/000002/label.pdf")
    assert superseded.status_code == 409
    assert "print one of 000004" in superseded.text
    assert browser.get("/certificates/000099/label.pdf").status_code == 404


def test_labels_of_what_is_ticked_in_the_list_come_on_one_sheet(store, browser):
    page = browser.get("/certificates").text
    assert page.count('name="number"') == 2
    answer = browser.get("/certificates/labels.pdf?number=000004&number=000003&start=23")
    assert answer.status_code == 200
    text = text_of(answer.data)
    assert text.index("000004 sender, tag 22") < text.index("000003 sender, tag 3")
    refused = browser.get("/certificates/labels.pdf?number=000003&number=000004&start=25")
    assert refused.status_code == 422
    assert "Type a place from 1 to 24." in refused.text
    assert refused.text.count(" checked") == 2
    assert 'value="25"' in refused.text
    gone = browser.get("/certificates/labels.pdf?number=000003&number=000001")
    assert (gone.status_code, "000001 is withdrawn" in gone.text) == (422, True)
    none = browser.get("/certificates/labels.pdf")
    assert (none.status_code, "Tick the certificates" in none.text) == (422, True)


def test_what_no_longer_holds_is_struck_in_the_list_with_its_standing_first(store, browser):
    page = browser.get("/certificates").text
    assert page.count('class="verdict in_tolerance"') == 2  # of the two in force
    for standing in ("withdrawn", "superseded by 000004"):
        assert f'<b class="standing">{standing}</b> <s class="verdict plain">' in page
    runs = browser.get("/runs").text
    assert "certificate withdrawn" in runs
    assert runs.count('class="verdict in_tolerance"') == 2  # an amended one stands by its newest


def test_the_command_prints_stickers_and_sheets_and_refuses_in_a_sentence(store, desk, tmp_path):
    def run(*typed):
        return CliRunner().invoke(main, ["certificate", "label", *typed, "--data", str(desk.folder)])

    out = tmp_path / "labels.pdf"
    made = run("000003", "--out", str(out))
    assert made.exit_code == 0, made.output
    assert "1 label of 40 × 20 mm" in made.output
    assert "000003 sender, tag 3" in text_of(out.read_bytes())
    made = run("000003", "000004", "--copies", "12", "--sheet", "--out", str(out))
    assert (made.exit_code, "24 labels on A4" in made.output) == (0, True)
    assert len(pypdf.PdfReader(out).pages) == 1
    assert text_of(out.read_bytes()).count("sender, tag 22") == 12
    before = out.read_bytes()
    for typed, words in (
        (("000001",), "is withdrawn: no label"),
        (("draft-1",), "There is no certificate draft-1 here."),
        (("3",), "There is no certificate 3 here. Write its number as it stands on the paper"),
        (("3",), "with every zero: 000003."),
        (("000003", "--start", "2"), "--sheet"),
        (("000003", "--sheet", "--start", "25"), "1<=x<=24"),
    ):
        refused = run(*typed, "--out", str(out))
        assert (refused.exit_code, words in refused.output) == (2, True), refused.output
    assert out.read_bytes() == before


def test_the_due_day_comes_from_the_register_only_for_the_instrument_that_this_certificate_is_of(store):
    (paper,) = [one for one in store.certificates.all() if one.number == "000003"]
    shop = store.settings.read().shop.name
    of_it = {
        "kind": "witness", "serial": "W-1", "certificate": "000003", "issuer": shop,
        "issued": date(2031, 5, 17), "resolution_k": 0.0625, "accuracy_k": 0.5, "k": 2.0, "simulated": True,
    }  # fmt: skip
    store.register.add(
        register_entry(of_it | {"serial": "W-2", "issuer": "another house", "due": date(2033, 1, 1)})
    )
    assert labels_of(store, ["000003"])[0].due == ""
    store.register.add(register_entry(of_it))
    assert labels_of(store, ["000003"])[0].due == ""  # neither entry nor shop sets an interval
    store.settings.change({"recalibrate_witness_months": "12"})
    assert labels_of(store, ["000003"])[0].due == "2032-05-17"
    store.register.add(register_entry(of_it | {"due": date(2031, 11, 30)}))
    assert labels_of(store, ["000003"])[0].due == "2031-11-30"
    assert labels_of(store, ["000003"])[0].fingerprint == fingerprint(paper.files.canonical_json)
    with pytest.raises(NoLabelError, match="withdrawn"):
        labels_of(store, ["000003", "000001"])
