"""Is the chain of issued certificates whole, and does it fit what is kept? Names the first broken link."""

import json
from dataclasses import dataclass

from host.store.certificates import Certificates, IssuedCertificate
from host.store.chain import Chain
from host.store.chain_link import BRINGS_A_CERTIFICATE, NO_HEAD, Link, LinkKind, head_of, sha256_of
from host.store.series import FIRST_SERIES, number_in

_DIGITS = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainReport:
    """What a check of the chain found.

    Attributes
    ----------
    links, certificates : int
        How many there are.
    head : str
        Head after the last link; empty where there is none.
    broken : int or None
        First link that does not fit; None where all do.
    trouble : str
        What does not fit, in words; empty where all does.
    """

    links: int
    certificates: int
    head: str
    broken: int | None = None
    trouble: str = ""

    @property
    def is_whole(self) -> bool:
        """Tell whether everything fits."""
        return not self.trouble


class _BreakError(Exception):
    def __init__(self, link: int, words: str) -> None:
        super().__init__(words)
        self.link = link


def check_chain(chain: Chain, certificates: Certificates, *, known_head: str = "") -> ChainReport:
    """Check every link, every certificate, and the counters of the numbers.

    Parameters
    ----------
    chain : Chain
    certificates : Certificates
    known_head : str, optional
        A head from elsewhere: from a certificate's paper, or a backup. Whoever can write into the store
        could make the whole chain anew; a head that is known elsewhere shows that.
    """
    links = chain.links()
    issued = {one.number: one for one in certificates.all()}
    head = links[-1].head if links else NO_HEAD
    try:
        _check_links(links, chain.counted_links())
        _check_certificates(links, issued)
        _check_numbers(links, chain.counted())
        _check_known_head(links, known_head)
    except _BreakError as error:
        return ChainReport(
            links=len(links),
            certificates=len(issued),
            head=head,
            broken=error.link,
            trouble=str(error),
        )
    return ChainReport(links=len(links), certificates=len(issued), head=head)


def _check_links(links: list[Link], counted: int) -> None:
    previous = NO_HEAD
    for expected, link in enumerate(links, start=1):
        if link.index != expected:
            raise _BreakError(expected, f"link {expected} is missing")
        if head_of(link.content) != link.head:
            raise _BreakError(expected, "what it says was altered: its digest is not the head that is kept")
        said = link.said
        if said.get("previous") != previous:
            raise _BreakError(expected, "it names another link before it than the one that is there")
        if (said.get("link"), said.get("kind"), said.get("number")) != (expected, link.kind, link.number):
            raise _BreakError(expected, "its row says other than its content")
        previous = link.head
    if len(links) != counted:
        raise _BreakError(len(links) + 1, f"{counted} links were made, but only {len(links)} are there")


def _check_certificates(links: list[Link], issued: dict[str, IssuedCertificate]) -> None:
    seen: set[str] = set()
    for link in links:
        if link.kind in BRINGS_A_CERTIFICATE:
            if link.number in seen:
                raise _BreakError(link.index, f"certificate {link.number} came into the chain before")
            _check_files(link, issued.get(link.number))
            seen.add(link.number)
        elif link.number and link.number not in seen:
            raise _BreakError(link.index, f"it speaks of certificate {link.number}, which never came in")
    strange = sorted(set(issued) - seen)
    if strange:
        raise _BreakError(len(links) + 1, f"certificate {strange[0]} is kept, but no link brings it in")


def _check_files(link: Link, certificate: IssuedCertificate | None) -> None:
    if certificate is None:
        raise _BreakError(link.index, f"certificate {link.number} is gone")
    files = certificate.files
    found = {
        "paper (PDF)": ("pdf_sha256", files.pdf),
        "data (JSON)": ("data_sha256", files.canonical_json),
        "chart": ("chart_sha256", files.chart_svg),
    }
    for what, (name, content) in found.items():
        if link.said.get(name) != sha256_of(content):
            raise _BreakError(link.index, f"the {what} of certificate {link.number} is not what was issued")
    if link.said.get("verdict") != files.verdict or link.said.get("run") != certificate.run:
        raise _BreakError(link.index, f"certificate {link.number} is kept with another verdict or run")
    _check_previous(link, files.canonical_json)


def _check_previous(link: Link, canonical_json: bytes) -> None:
    if link.kind is not LinkKind.ISSUED:
        return
    try:
        printed = json.loads(canonical_json).get("previous_head")
    except (ValueError, AttributeError):
        return
    if isinstance(printed, str) and len(printed) == _DIGITS and printed != link.said["previous"]:
        raise _BreakError(
            link.index, f"certificate {link.number} names another head before it than the chain"
        )


def _check_numbers(links: list[Link], counted: dict[str, int]) -> None:
    series, count = FIRST_SERIES, 0
    counts: dict[str, int] = {}
    for link in links:
        if link.kind is LinkKind.SERIES_OPENED:
            counts[series] = count
            series, count = str(link.said.get("series")), 0
        elif link.kind in BRINGS_A_CERTIFICATE:
            count += 1
            if link.number != number_in(series, count):
                raise _BreakError(
                    link.index, f"{link.number} stands where {number_in(series, count)} belongs"
                )
    counts[series] = count
    for name, given in counted.items():
        if given != counts.get(name, 0):
            last = number_in(name, given)
            raise _BreakError(
                len(links) + 1,
                f"numbers were given up to {last}, but the chain ends before: links are missing",
            )


def _check_known_head(links: list[Link], known_head: str) -> None:
    if known_head and known_head.lower() not in {link.head for link in links}:
        raise _BreakError(
            len(links) + 1, f"the head {known_head} is known from elsewhere, and is not in this chain"
        )
