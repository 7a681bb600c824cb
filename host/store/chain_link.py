"""One link of the chain of issued certificates: text that names the link before it, and its digest."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

FORMAT, VERSION = "ohmbath chain", 1
#: What the first link names as the head before it.
NO_HEAD = ""


class LinkKind(StrEnum):
    """What a link says happened."""

    TAKEN_OVER = "taken over"  # issued before this store kept a chain
    ISSUED = "issued"
    SUPERSEDED = "superseded"
    WITHDRAWN = "withdrawn"
    SERIES_OPENED = "series opened"


#: A certificate came into the chain by one of these.
BRINGS_A_CERTIFICATE = frozenset({LinkKind.TAKEN_OVER, LinkKind.ISSUED})


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """A link as it is kept.

    Attributes
    ----------
    index : int
        From 1.
    kind : LinkKind
    number : str
        Certificate it is about; empty where it is about none.
    said : Mapping[str, Any]
        Everything it says, read from ``content``.
    content : str
        The very text whose digest the head is.
    head : str
        SHA-256 of the content, in hexadecimal.
    """

    index: int
    kind: LinkKind
    number: str
    said: Mapping[str, Any]
    content: str
    head: str


def content_of(
    *, index: int, previous: str, kind: LinkKind, number: str, at_utc_s: float, said: Mapping[str, Any]
) -> str:
    """Text of a link: JSON with sorted keys and nothing between its tokens."""
    whole = {
        **said,
        "format": FORMAT,
        "version": VERSION,
        "link": index,
        "previous": previous,
        "kind": kind.value,
        "number": number,
        "at_utc_s": repr(float(at_utc_s)),
    }
    return json.dumps(whole, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)


def head_of(content: str) -> str:
    """Head of the chain after a link of this content."""
    return hashlib.sha256(content.encode("utf-8")).hexdigest()


def sha256_of(content: bytes) -> str:
    """Digest of a file, in hexadecimal."""
    return hashlib.sha256(content).hexdigest()
