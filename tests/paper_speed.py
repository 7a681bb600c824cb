"""How long a three-page certificate takes, against the same made with another PDF library, in one run.

    python tests/paper_speed.py [REPEATS]

Both hold the 28-row table, the same lines of text, a chart of the errors and the two attached forms of the
data, which are made anew each time on both sides. The other library (reportlab) draws its chart itself, sets
every line as a paragraph of its own (five pages), draws no strips, writes no tags and claims no standard;
ours is PDF/A-3a and PDF/UA-1 with the drawing library's chart.

Both are timed without and with a signature over the whole file by a key of 3072 bits. Ours is the desk's own
way: the code on the paper, keys read from their files, the seal. The other library cannot sign: its paper is
signed by pyHanko's usual signer, with a key that was read beforehand. The ways take turns, so that whatever
else the machine does weighs on all.
"""

import functools
import importlib.util
import io
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pypdf
from cryptography.hazmat.primitives import serialization

from calibration.rounding import decimals_of, rounded_text
from host.certificates.canonical import canonical_json
from host.certificates.certificate import Certificate
from host.certificates.dcc import dcc_xml
from host.certificates.fingerprint import mark_of
from host.certificates.paper import paper_data
from host.certificates.pdf import render_pdf
from host.certificates.printable import printable
from host.certificates.results.by_kind import results_of
from host.certificates.results.results import Bars
from host.seal.key_ring import KeyRing
from host.seal.shop_seal import ShopSeal

REPEATS = 25
COLD_STARTS = 3
TEMPERATURES_C = tuple(10.0 + 3.0 * step for step in range(28))
Way = Callable[[Certificate, Path], bytes]
COLD = (
    "import sys; sys.path.insert(0, 'tests'); import paper_speed as speed;"
    "from pathlib import Path;"
    "made = speed.certificate(); speed.{name}(made, Path({keys!r}))"
)


def certificate() -> Certificate:
    """An invented sender check of 28 temperatures: three pages."""
    path = Path(__file__).with_name("host") / "sample_certificate.py"
    spec = importlib.util.spec_from_file_location("sample_certificate", path)
    assert spec is not None and spec.loader is not None
    module: ModuleType = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    made: Certificate = module.sample_certificate(temperatures_c=TEMPERATURES_C, series_ohm=5.0)
    return made


def ours(made: Certificate, keys: Path) -> bytes:
    """As the desk makes it, without code and seal."""
    return render_pdf(made)


def ours_sealed(made: Certificate, keys: Path) -> bytes:
    """As the desk seals it; the chart that is kept beside the paper is drawn apart and not timed."""
    paper = render_pdf(made, mark=mark_of(made.number, canonical_json(made)))
    return ShopSeal(keys, time.time).put_on(paper, shop=made.shop)


def theirs_signed(made: Certificate, keys: Path) -> bytes:
    """That of reportlab with a signature by pyHanko's usual signer."""
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
    from pyhanko.sign import signers

    writer = IncrementalPdfFileWriter(io.BytesIO(theirs(made, keys)))
    meta = signers.PdfSignatureMetadata(field_name="Signature", md_algorithm="sha256")
    signed: bytes = signers.sign_pdf(writer, meta, signer=_signer(keys)).getvalue()
    return signed


@functools.cache
def _signer(keys: Path) -> Any:
    from asn1crypto.keys import PrivateKeyInfo
    from asn1crypto.x509 import Certificate as Own
    from pyhanko.sign import signers
    from pyhanko_certvalidator.registry import SimpleCertificateStore

    key = KeyRing(keys).signing_key()
    der = serialization.Encoding.DER
    private = key.private.private_bytes(der, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    return signers.SimpleSigner(
        signing_cert=Own.load(key.certificate.public_bytes(der)),
        signing_key=PrivateKeyInfo.load(private),
        cert_registry=SimpleCertificateStore(),
    )


def theirs(made: Certificate, keys: Path) -> bytes:
    """The same lines, table, chart and attachments by reportlab."""
    from reportlab.lib.pagesizes import A4
    from reportlab.lib.styles import getSampleStyleSheet
    from reportlab.pdfgen.canvas import Canvas
    from reportlab.platypus import PageBreak, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

    checked = printable(made)
    attached = {"json": canonical_json(checked), "xml": dcc_xml(checked)}
    results = results_of(checked)
    style = getSampleStyleSheet()["Normal"]
    style.fontSize, style.leading = 7.5, 8.5
    said = _lines(checked, attached)
    table = results.tables[0]
    rows = [[column.name or column.unit for column in table.columns]]
    rows += [[column.texts[at] for column in table.columns] for at in range(len(table.verdicts))]
    ruled = TableStyle([("FONTSIZE", (0, 0), (-1, -1), 8), ("LINEBELOW", (0, 0), (-1, -1), 0.3, "grey")])
    story: list[Any] = [Paragraph(text, style) for text in said[:12]]
    story += [Table(rows, repeatRows=1, style=ruled), Spacer(1, 12)]
    assert results.bars is not None
    story += [_chart(results.bars), PageBreak()]
    story += [Paragraph(text, style) for text in said[12:]]
    out = io.BytesIO()

    def every_page(canvas: Canvas, document: Any) -> None:
        canvas.drawRightString(550, 30, f"{made.number}, page {document.page}")
        if document.page == 1:
            _attach(canvas, attached)

    SimpleDocTemplate(out, pagesize=A4, title=made.number).build(
        story, onFirstPage=every_page, onLaterPages=every_page
    )
    return out.getvalue()


def _lines(made: Certificate, attached: dict[str, bytes]) -> list[str]:
    """Every text of the paper as a line; angle brackets would be markup there."""
    data = paper_data_without_pictures(made, attached)
    found: list[str] = []

    def walk(value: Any) -> None:
        if isinstance(value, str):
            found.append(value.replace("&", "&amp;").replace("<", "&lt;"))
        elif isinstance(value, dict):
            for one in value.values():
                walk(one)
        elif isinstance(value, list) and not all(isinstance(one, int) for one in value):
            for one in value:
                walk(one)

    walk(
        {
            name: value
            for name, value in data.items()
            if name not in ("tables", "json", "xml", "chart", "strips")
        }
    )
    return [text for text in found if text]


_KEPT: dict[str, Any] = {}


def paper_data_without_pictures(made: Certificate, attached: dict[str, bytes]) -> dict[str, Any]:
    """Texts of the paper, made once: the other side is not charged for our pictures."""
    if made.number not in _KEPT:
        _KEPT[made.number] = paper_data(made, results_of(made), attached)
    found: dict[str, Any] = _KEPT[made.number]
    return found


def _chart(bars: Bars) -> Any:
    from reportlab.graphics.shapes import Circle, Drawing, Line, PolyLine

    drawing = Drawing(250, 180)
    low = min(bar.error - bar.expanded_u for bar in bars.bars) - 1.0
    high = max(bar.error + bar.expanded_u for bar in bars.bars) + 1.0

    def at(bar_at: float, error: float) -> tuple[float, float]:
        span = bars.bars[-1].at - bars.bars[0].at
        return 240 * (bar_at - bars.bars[0].at) / span, 170 * (error - low) / (high - low)

    for side in (0, 1):
        limits = [at(bar.at, bar.limits[side]) for bar in bars.bars if bar.limits[side] is not None]
        drawing.add(PolyLine([one for pair in limits for one in pair]))
    for bar in bars.bars:
        x, y = at(bar.at, bar.error)
        drawing.add(Line(*at(bar.at, bar.error - bar.expanded_u), *at(bar.at, bar.error + bar.expanded_u)))
        drawing.add(Circle(x, y, 2))
    return drawing


def _attach(canvas: Any, attached: dict[str, bytes]) -> None:
    from reportlab.pdfbase.pdfdoc import PDFArray, PDFDictionary, PDFStream, PDFString

    document = canvas._doc
    names = []
    for form, content in attached.items():
        stream = PDFStream(content=content)
        file = document.Reference(PDFDictionary({
            "Type": "/Filespec",
            "F": PDFString(f"certificate.{form}"),
            "EF": PDFDictionary({"F": document.Reference(stream)}),
        }))  # fmt: skip
        names += [PDFString(f"certificate.{form}"), file]
    document.Catalog.Names = PDFDictionary({"EmbeddedFiles": PDFDictionary({"Names": PDFArray(names)})})


def timed(ways: tuple[Way, ...], made: Certificate, keys: Path, repeats: int) -> dict[str, list[float]]:
    """Seconds of each way so many times, in turn, after one of each that warms up. [s]"""
    for make in ways:
        make(made, keys)
    found: dict[str, list[float]] = {make.__name__: [] for make in ways}
    for _ in range(repeats):
        for make in ways:
            for kept in (decimals_of, rounded_text):  # a desk has not seen the numbers of its next paper
                kept.cache_clear()
            begun = time.perf_counter()
            make(made, keys)
            found[make.__name__].append(time.perf_counter() - begun)
    return found


def cold(name: str, keys: Path) -> float:
    """Seconds from no process to one paper: the median of a few. [s]"""
    found = []
    for _ in range(COLD_STARTS):
        begun = time.perf_counter()
        code = COLD.format(name=name, keys=str(keys))
        subprocess.run([sys.executable, "-c", code], check=True, cwd=Path(__file__).parents[1])
        found.append(time.perf_counter() - begun)
    return statistics.median(found)


def main(repeats: int) -> None:
    """Print pages, medians, their ratio, and cold starts."""
    made = certificate()
    ways: tuple[Way, ...] = (ours, theirs, ours_sealed, theirs_signed)
    with tempfile.TemporaryDirectory() as folder:
        keys = Path(folder) / "keys"
        KeyRing(keys).make(made.shop)
        seconds = timed(ways, made, keys, repeats)
        median = {name: statistics.median(found) for name, found in seconds.items()}
        for make in ways:
            name = make.__name__
            pages = len(pypdf.PdfReader(io.BytesIO(make(made, keys))).pages)
            warm, shortest = median[name] * 1e3, min(seconds[name]) * 1e3
            sys.stdout.write(
                f"{name}: {pages} pages, warm p50 {warm:.0f} ms (shortest {shortest:.0f}), "
                f"from cold {cold(name, keys):.2f} s\n"
            )
    for own, other in (("ours", "theirs"), ("ours_sealed", "theirs_signed")):
        sys.stdout.write(f"ratio of the medians, {own} over {other}: {median[own] / median[other]:.2f}\n")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else REPEATS)
