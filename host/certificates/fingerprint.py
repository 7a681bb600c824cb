"""The short fingerprint of a certificate's data, and the code on the paper that carries it."""

import hashlib
import io

from host.certificates.paper import PaperMark

#: Digits of the short fingerprint: enough to tell one certificate from another by eye, no proof by itself.
_DIGITS, _GROUP = 16, 4


def fingerprint(canonical: bytes) -> str:
    """Short fingerprint of the data of a certificate: ``3F2A-91BC-04D7-E5A8``."""
    digits = hashlib.sha256(canonical).hexdigest()[:_DIGITS].upper()
    return "-".join(digits[at : at + _GROUP] for at in range(0, _DIGITS, _GROUP))


def code_words(number: str, print_: str) -> str:
    """What the code on paper and sticker says, in plain words that any phone shows."""
    return f"Certificate {number}, fingerprint {print_}"


def mark_of(number: str, canonical: bytes) -> PaperMark:
    """Code and words at the foot of a certificate's first page."""
    print_ = fingerprint(canonical)
    return PaperMark(
        svg=code_svg(code_words(number, print_)),
        alt=f"Code with number {number} and fingerprint {print_}",
        words=(f"Number {number}", f"Fingerprint {print_}", "Sealed: verify the file, or ask the shop."),
    )


def code_svg(words: str) -> str:
    """QR code (ISO/IEC 18004) of some words, with its quiet zone."""
    # Late: only who prints needs it.
    import segno

    drawn = io.BytesIO()
    segno.make(words, error="m", micro=False).save(drawn, kind="svg", border=4, xmldecl=False, svgns=True)
    return drawn.getvalue().decode("utf-8")
