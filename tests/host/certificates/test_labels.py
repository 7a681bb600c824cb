"""Labels of 40 by 20 mm: their size, what they say, and codes that decode from an ordinary print."""

import dataclasses
import io
import json
import re
import subprocess
from datetime import date
from pathlib import Path

import pypdf
import pytest
import zxingcpp
from PIL import Image

from calibration.conformity import Verdict
from host.certificates.canonical import canonical_json
from host.certificates.errors import CertificateError
from host.certificates.fingerprint import code_svg, mark_of
from host.certificates.kind import Kind
from host.certificates.label import PLACES, label_of, sheet_pdf, stickers_pdf
from host.certificates.printable import LONGEST_NAME, printable_text

pytestmark = pytest.mark.slow

MM_PER_POINT = 25.4 / 72.0
WIDTH_MM, HEIGHT_MM = 40.0, 20.0


def label(certificate, **more):
    return label_of(certificate, canonical_json(certificate), **more)


def texts_of(pdf: bytes) -> list[str]:
    texts = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]
    return [" ".join(text.replace("\u200b", "").split()) for text in texts]


def sizes_mm(pdf: bytes) -> list[tuple[float, float]]:
    boxes = [page.mediabox for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]
    return [(float(box.width) * MM_PER_POINT, float(box.height) * MM_PER_POINT) for box in boxes]


def printed(pdf: bytes, folder: Path, *, page: int = 1, dots_an_inch: int = 150) -> Image.Image:
    (folder / "labels.pdf").write_bytes(pdf)
    page_range = ("-f", str(page), "-l", str(page))
    command = ["pdftoppm", "-r", str(dots_an_inch), *page_range, "-gray", "-singlefile", "labels.pdf", "page"]
    subprocess.run(command, cwd=folder, check=True, capture_output=True)
    return Image.open(folder / "page.pgm")


def test_a_sticker_has_the_size_of_a_sticker_and_says_what_the_certificate_says(sample):
    pdf = stickers_pdf([label(sample, due=date(2032, 5, 17))])
    assert sizes_mm(pdf) == [(pytest.approx(WIDTH_MM, abs=0.01), pytest.approx(HEIGHT_MM, abs=0.01))]
    (text,) = texts_of(pdf)
    assert sample.number in text
    assert f"issued {sample.issued}" in text
    assert "due 2032-05-17" in text
    assert sample.verdict.words in text
    assert "Simulated" in text
    assert "accredit" not in text.lower()


def test_a_due_day_stands_there_only_where_somebody_set_one_and_the_customers_goes_first(sample):
    assert "due" not in texts_of(stickers_pdf([label(sample)]))[0]
    agreed = dataclasses.replace(sample, next_due="2032-11-01")
    assert "due 2032-11-01" in texts_of(stickers_pdf([label(agreed, due=date(2032, 5, 17))]))[0]


@pytest.mark.poppler
def test_all_codes_of_a_full_sheet_decode_at_150_dots_an_inch_and_say_what_the_papers_say(of_kind, tmp_path):
    kinds = [kind for kind in Kind if kind.has_label]
    papers = [
        of_kind(kinds[at % len(kinds)], number=f"{'' if at % 2 else 'BK7Q-'}{at:06d}", simulated=bool(at % 3))
        for at in range(1, PLACES + 1)
    ]
    labels = [label(paper) for paper in papers]
    for one, paper in zip(labels, papers, strict=True):
        mark = mark_of(paper.number, canonical_json(paper))
        assert code_svg(one.code) == mark.svg
        assert mark.words[0].removeprefix("Number ") in one.code
        assert mark.words[1].removeprefix("Fingerprint ") in one.code
    pdf = sheet_pdf(labels)
    assert sizes_mm(pdf) == [(pytest.approx(210.0, abs=0.01), pytest.approx(297.0, abs=0.01))]
    with printed(pdf, tmp_path) as image:
        found = zxingcpp.read_barcodes(image)
        width_px, height_px = image.size
    assert sorted(code.text for code in found) == sorted(one.code for one in labels)
    # Each stands in its own place: four beside each other, six under each other, 46 by 26 mm apart.
    for code in found:
        at = [one.code for one in labels].index(code.text)
        left_mm = code.position.top_left.x * 210.0 / width_px
        top_mm = code.position.top_left.y * 297.0 / height_px
        assert int((left_mm - 16.0) // 46.0) == at % 4
        assert (left_mm - 16.0) % 46.0 < 5.0
        first_mm = min(other.position.top_left.y for other in found) * 297.0 / height_px
        assert round((top_mm - first_mm) / 26.0) == at // 4


@pytest.mark.poppler
def test_a_single_sticker_decodes_too(sample, tmp_path):
    with printed(stickers_pdf([label(sample)]), tmp_path) as image:
        assert [code.text for code in zxingcpp.read_barcodes(image)] == [label(sample).code]


def test_each_place_of_a_sheet_holds_the_words_of_its_own_certificate(make_certificate):
    labels = [
        label(make_certificate(number=f"{at:06d}", item=f"sender with tag {at}", simulated=False))
        for at in range(1, 5)
    ]
    (text,) = texts_of(sheet_pdf(labels))
    for one in labels:
        assert re.search(rf"{one.number} {re.escape(one.item)} issued", text)
    assert "100 %" in text


@pytest.mark.poppler
def test_a_sheet_used_in_part_begins_at_its_first_free_place_and_goes_on_with_another(sample, tmp_path):
    pdf = sheet_pdf([label(sample)] * 3, start=23)
    assert len(sizes_mm(pdf)) == 2
    with printed(pdf, tmp_path, page=1) as image:
        found = zxingcpp.read_barcodes(image)
        dots_per_mm = image.size[0] / 210.0
    columns = sorted(int((code.position.top_left.x / dots_per_mm - 16.0) // 46.0) for code in found)
    assert columns == [2, 3]
    rows = {round((code.position.top_left.y / dots_per_mm - 32.0) / 26.0) for code in found}
    assert rows == {5}
    with printed(pdf, tmp_path, page=2) as image:
        assert len(zxingcpp.read_barcodes(image)) == 1
    for start in (0, 25):
        with pytest.raises(CertificateError, match="places 1 to 24"):
            sheet_pdf([label(sample)], start=start)


def test_a_long_item_is_shortened_visibly_and_a_short_one_is_whole(make_certificate):
    long = "Handheld infrared thermometer, serial IR-2231, with its long holster and its case"
    (text,) = texts_of(stickers_pdf([label(make_certificate(item=long, simulated=False))]))
    shown = text.partition("issued")[0].partition("PTW-0042 ")[2].strip()
    assert shown.endswith("…")
    assert long.startswith(shown.removesuffix("…").strip())
    assert len(shown) > 20
    (text,) = texts_of(stickers_pdf([label(make_certificate(item="plug and lead", simulated=False))]))
    assert "plug and lead" in text
    assert "…" not in text.partition("issued")[0]


def test_the_verdict_is_told_by_word_and_shape_and_where_nothing_is_stated_none_is(make_certificate, of_kind):
    bad = make_certificate(series_ohm=10.0)
    assert bad.verdict is Verdict.OUT_OF_TOLERANCE
    assert "◆ out of tolerance" in texts_of(stickers_pdf([label(bad)]))[0]
    stated_nothing = of_kind(Kind.RIG_INFRARED)
    assert stated_nothing.verdict is None
    assert "tolerance" not in texts_of(stickers_pdf([label(stated_nothing)]))[0]


@pytest.mark.poppler
def test_no_text_that_a_certificate_takes_runs_off_a_label_or_into_its_code(sample, tmp_path):
    kept = json.loads((Path(__file__).parents[1] / "awkward_strings.json").read_text("utf-8"))
    awkward = [text for group in kept.values() for text in group]
    awkward += ["W" * 160, "m" * 160, "Ω" * 160, "a b " * 40, "- " * 80, "." * 160, "Ж" * 160, "x"]
    taken = {}
    for text in awkward:
        try:
            plain = printable_text(text, "item", longest=LONGEST_NAME)
        except CertificateError:
            continue
        if plain:
            taken[plain] = None
    assert len(taken) >= 80
    plain_label = label(sample)
    labels = [
        dataclasses.replace(plain_label, item=text, shop=text[:80], due=text, simulated=False)
        for text in taken
    ]
    (tmp_path / "awkward.pdf").write_bytes(stickers_pdf(labels))
    boxes = subprocess.run(
        ["pdftotext", "-bbox", "awkward.pdf", "-"], cwd=tmp_path, capture_output=True, check=True, text=True
    ).stdout
    edges = re.findall(r'<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)"', boxes)
    assert len(edges) > 4 * len(taken)
    for left, top, right, bottom in ([float(edge) * MM_PER_POINT for edge in word] for word in edges):
        assert left >= 20.0  # right of the code
        assert right <= WIDTH_MM - 0.5
        assert top >= 0.0
        assert bottom <= HEIGHT_MM
