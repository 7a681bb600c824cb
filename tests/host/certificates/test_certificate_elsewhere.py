"""Another process, place, zone, language, day and order of hashing: no byte of a certificate shows them."""

import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

import host
from host.certificates.canonical import canonical_json
from host.certificates.fingerprint import mark_of
from host.certificates.kind import Kind
from host.certificates.pdf import render_pdf

pytestmark = pytest.mark.slow

YEAR_S = 365 * 86_400
PROGRAM = """
import datetime, hashlib, json, pathlib, sys, time

real = time.time
time.time = lambda: real() + float(sys.argv[2])

class Later(datetime.datetime):
    @classmethod
    def now(cls, tz=None):
        return cls.fromtimestamp(time.time(), tz)

    @classmethod
    def today(cls):
        return cls.now()

datetime.datetime = Later

from host.certificates.canonical import canonical_json, certificate_from_canonical
from host.certificates.dcc import dcc_xml
from host.certificates.fingerprint import mark_of
from host.certificates.issue import chart_of
from host.certificates.pdf import render_pdf
from host.certificates.printable import printable
from host.certificates.results.by_kind import results_of

found = {}
for path in pathlib.Path(sys.argv[1]).glob("*.json"):
    made = certificate_from_canonical(path.read_bytes())
    data = canonical_json(made)
    paper = render_pdf(made, mark=mark_of(made.number, data))
    chart = chart_of(results_of(printable(made))).encode()
    found[path.stem] = [hashlib.sha256(one).hexdigest() for one in (paper, data, dcc_xml(made), chart)]
json.dump(found, sys.stdout)
"""


def digests(certificates: Path, *, later_s: int, cwd: Path, **environment: str) -> dict[str, list[str]]:
    """Digests of paper, data, XML and chart of each kind, from a process of its own, so much later."""
    source = str(Path(host.__file__).parents[1])
    printed = subprocess.run(
        [sys.executable, "-c", PROGRAM, str(certificates), str(later_s)],
        cwd=cwd,
        capture_output=True,
        check=True,
        env={"PATH": os.environ["PATH"], "PYTHONPATH": source, **environment},
    )
    found: dict[str, list[str]] = json.loads(printed.stdout)
    return found


def test_every_kind_is_printed_with_the_same_bytes_elsewhere_and_later(of_kind, tmp_path):
    certificates = tmp_path / "certificates"
    certificates.mkdir()
    for kind in Kind:
        (certificates / f"{kind.value}.json").write_bytes(canonical_json(of_kind(kind)))
    here = digests(certificates, later_s=0, cwd=tmp_path, TZ="UTC", LC_ALL="C.UTF-8", PYTHONHASHSEED="1")
    there = digests(
        certificates,
        later_s=40 * YEAR_S,
        cwd=Path("/"),
        TZ="Pacific/Kiritimati",
        LC_ALL="tr_TR.UTF-8",
        LANG="tr_TR.UTF-8",
        LANGUAGE="tr",
        HOME="/nonexistent",
        PYTHONHASHSEED="4242",
        SOURCE_DATE_EPOCH="1",
    )
    assert set(here) == {kind.value for kind in Kind}
    assert here == there
    made = of_kind(Kind.SENDER)
    paper = render_pdf(made, mark=mark_of(made.number, canonical_json(made)))
    assert here["sender"][0] == hashlib.sha256(paper).hexdigest()
