"""A customer verifies a paper with a phone, without script."""

import pytest
from playwright.sync_api import expect

from host.certificates.fingerprint import fingerprint

pytestmark = [pytest.mark.slow, pytest.mark.browser]


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_a_paper_is_verified_with_a_phone_and_every_answer_can_be_read(visit, finished_desk, tmp_path, theme):
    issued = finished_desk.store.certificates.all()[0]
    altered = bytearray(issued.files.pdf)
    altered[30_000] ^= 1
    print_ = fingerprint(issued.files.canonical_json)
    here = visit("phone", color_scheme=theme)
    page = here.open("verify")
    (tmp_path / "letter.pdf").write_text("Dear shop,")
    (tmp_path / "paper.pdf").write_bytes(issued.files.pdf)
    (tmp_path / "altered.pdf").write_bytes(altered)

    def verified(name: str, words: str) -> None:
        page.get_by_label("Certificate (PDF)").set_input_files(tmp_path / name)
        page.get_by_role("button", name="Verify the file").click()
        expect(page.get_by_text(words)).to_be_visible()
        here.look_at(page)

    verified("paper.pdf", "Whole, and sealed by this shop")
    verified("altered.pdf", "The file is not as it was sealed.")
    page.get_by_label("Number").fill(issued.number)
    page.get_by_label("Fingerprint").fill(print_)
    page.get_by_role("button", name="Ask how it stands").click()
    expect(page.get_by_text(f"Certificate {issued.number} is in force.")).to_be_visible()
    here.assert_fits(page)
