"""Whether a certificate can be printed at all, and the text as it will be printed.

A paper that shows a box for a letter, or hides one, is no evidence. So letters that the fonts
inside the file do not hold are refused, and characters that nobody can see are taken out before
paper and data are made: both say the same.
"""

import dataclasses
import datetime
import math
import unicodedata
from enum import Enum
from typing import Any

from host.certificates.certificate import Certificate
from host.certificates.dcc_units import UNITS
from host.certificates.errors import CertificateError

#: Longest text of one field; a remark longer than this belongs in a document of its own.
LONGEST_TEXT = 1200
#: Longest text of what stands in a heading, a row of facts or a strip.
LONGEST_NAME = 160
#: Longest shop and number: they stand on every page, in one line.
LONGEST_SHOP = 80
LONGEST_NUMBER = 40
#: Longest condition of an item: what was done to it, and the certificate that says how it was found.
LONGEST_CONDITION = 300
MOST_POINTS = 60
MOST_ENTRIES = 80

#: First and last code point of what the fonts in the file hold; a test prints every one of them.
PRINTABLE_RANGES = (
    (0x0020, 0x007E),
    (0x00A0, 0x00AC),
    (0x00AE, 0x017F),
    (0x0218, 0x021B),
    (0x0386, 0x0386),
    (0x0388, 0x038A),
    (0x038C, 0x038C),
    (0x038E, 0x03A1),
    (0x03A3, 0x03CE),
    (0x0400, 0x045F),
    (0x0490, 0x0491),
    (0x1E80, 0x1E85),
    (0x1E9E, 0x1E9E),
    (0x2010, 0x2015),
    (0x2018, 0x201E),
    (0x2020, 0x2022),
    (0x2026, 0x2026),
    (0x2030, 0x2030),
    (0x2032, 0x2033),
    (0x2070, 0x2070),
    (0x2074, 0x208E),
    (0x20AC, 0x20AC),
    (0x2116, 0x2116),
    (0x2122, 0x2122),
    (0x2126, 0x2126),
    (0x2190, 0x2193),
    (0x2202, 0x2202),
    (0x2206, 0x2206),
    (0x2211, 0x2212),
    (0x221A, 0x221A),
    (0x221E, 0x221E),
    (0x2248, 0x2248),
    (0x2260, 0x2260),
    (0x2264, 0x2265),
    (0x25C6, 0x25C6),
    (0x25CF, 0x25D0),
)
_PRINTABLE = frozenset(chr(code) for first, last in PRINTABLE_RANGES for code in range(first, last + 1))
_SHORTER = {
    "shop": LONGEST_SHOP,
    "number": LONGEST_NUMBER,
    "item_condition": LONGEST_CONDITION,
    "supersedes": LONGEST_NUMBER,
    "previous_number": LONGEST_NUMBER,
}
_NAMES = frozenset(
    {
        "item",
        "customer",
        "customer_contact",
        "curve",
        "method",
        "place",
        "received",
        "operator",
        "authorised_by",
        "authorised",
        "measured",
        "next_due",
        "previous_head",
    }
    | {"name", "role", "serial", "expanded_u", "due", "quantity", "unit"}
    | {"where", "range_words", "station", "at", "thermostat", "high", "low", "part"}
)
_POSITIVE = frozenset(
    {"expanded_u_k", "expanded_u_ohm", "u_resistance_ohm", "k", "limit_k", "limit_ohm", "resistance_ohm"}
    | {"expanded_u", "reference_expanded_u", "robust_standard_u", "robust_spread", "allowance_k"}
    | {"reference_k", "assigned_expanded_u", "difference_expanded_u"}
    | {"setting_ohm", "true_ohm"}
)
#: Largest picture of a shop, above every one that the desk keeps: it travels in the data of every
#: certificate. [byte]
LARGEST_LOGO = 1_200_000
_LOGO_BEGINS = (b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff")
#: Beyond these a number has more digits than a table has room for.
SMALLEST_UNCERTAINTY = 1e-12
LARGEST_NUMBER = 1e12


def printable(certificate: Certificate) -> Certificate:
    """The certificate with its text as paper and data will both show it.

    Line breaks become spaces, composed letters take their usual form, and characters that cannot
    be seen (marks that turn the writing direction among them) are taken out.

    Raises
    ------
    CertificateError
        If a text holds a letter the fonts lack or is too long, if a number is not finite or an
        uncertainty not positive, if U is not what the budget gives, if there is no point, if the
        number, the shop, the item or the method is missing, or if a day is none.
    """
    cleaned: Certificate = _cleaned(certificate, "")
    _refuse_missing_texts(cleaned)
    if not 1 <= len(cleaned.points) <= MOST_POINTS:
        raise CertificateError(
            "points", f"{len(cleaned.points)} points; a certificate holds 1 to {MOST_POINTS}."
        )
    issued_moment(cleaned)
    for name in ("received", "next_due"):
        _refuse_no_day(getattr(cleaned, name), name)
    _refuse_no_picture(cleaned.logo)
    for index, point in enumerate(cleaned.points):
        _refuse_another_budget(point, f"points[{index}]")
        _refuse_unknown_unit(point, f"points[{index}].unit")
    return cleaned


def issued_moment(certificate: Certificate) -> datetime.datetime:
    """Moment of issue; a date alone means its first second, and no zone means UTC.

    Raises
    ------
    CertificateError
        If ``issued`` is not a date in ISO 8601.
    """
    try:
        moment = datetime.datetime.fromisoformat(certificate.issued)
    except ValueError as error:
        raise CertificateError(
            "issued", f"{certificate.issued!r} is no date: write it as 2031-05-17."
        ) from error
    return moment if moment.tzinfo else moment.replace(tzinfo=datetime.UTC)


def is_printable(character: str) -> bool:
    """Whether the fonts inside the file hold the character."""
    return character in _PRINTABLE


def printable_text(text: str, field: str, *, longest: int = LONGEST_TEXT) -> str:
    """One text as it will be printed.

    Raises
    ------
    CertificateError
        If it holds a character that cannot be printed, or is too long.
    """
    plain = seen_text(text)
    if not _PRINTABLE.issuperset(plain):
        raise CertificateError(field, _why_not(next(letter for letter in plain if not is_printable(letter))))
    if len(plain) > longest:
        raise CertificateError(field, f"{len(plain)} characters; there is room for {longest}. Shorten it.")
    return plain


def seen_text(text: str) -> str:
    """One line in composed letters, without marks that nobody sees, such as those that turn the writing."""
    composed = unicodedata.normalize("NFC", text)
    return " ".join("".join(letter for letter in composed if unicodedata.category(letter) != "Cf").split())


def shown_text(text: str) -> str:
    """A text that an older version took, for a page or a terminal: what no certificate prints as its code."""
    return "".join(one if is_printable(one) else f"[U+{ord(one):04X}]" for one in " ".join(text.split()))


def refuse_unprintable(text: str, field: str, *, longest: int = LONGEST_TEXT) -> None:
    """Refuse a text that is kept just as it came, because it is cited by its digest or searched for.

    Nothing can be taken out of such a text later, so a mark that nobody sees is refused as well.

    Raises
    ------
    CertificateError
        If it cannot be printed as it is, or is too long.
    """
    hidden = next((letter for letter in text if unicodedata.category(letter) == "Cf"), None)
    if hidden is not None:
        raise CertificateError(
            field,
            f"a mark that nobody sees (U+{ord(hidden):04X}) stands in it: type the text anew.",
        )
    printable_text(text, field, longest=longest)


def _refuse_no_day(text: str, field: str) -> None:
    """Refuse a text that is neither a day as ISO 8601 writes it nor empty.

    Raises
    ------
    CertificateError
        If it is anything else: a program that reads the certificate takes a day.
    """
    if text and not is_day(text):
        raise CertificateError(
            field, f"{text!r:.40} is no day: write year, month and day as 2031-05-17, or leave it empty."
        )


def is_day(text: str) -> bool:
    """Whether a text is a day as ISO 8601 writes it, with hyphens."""
    try:
        return datetime.date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


def _refuse_missing_texts(certificate: Certificate) -> None:
    """ISO/IEC 17025:2017, 7.8.2.1 b, d, f and g: nothing is a certificate without these."""
    for name, words in (
        ("number", "a certificate needs a number of its own."),
        (
            "shop",
            "a certificate says whose it is. Write the shop's name into the settings (page Settings, or "
            "`ohmbath settings set shop_name`).",
        ),
        ("item", "a certificate says what was measured: write what it is, for example “sender, tag 7”."),
        ("method", "a certificate says by which method: write which one."),
    ):
        if not getattr(certificate, name):
            raise CertificateError(name, words)


def _why_not(letter: str) -> str:
    code = f"U+{ord(letter):04X}"
    if unicodedata.category(letter) in {"Cc", "Cs"}:
        return f"a control character ({code}) cannot be printed: type the text again without it."
    name = unicodedata.name(letter, "unnamed").lower()
    return (
        f"{letter!r} ({code}, {name}) is not in the fonts of the certificate: "
        "write it in Latin, Greek or Cyrillic letters."
    )


def _cleaned(value: Any, path: str) -> Any:
    if isinstance(value, str) and not isinstance(value, Enum):
        return printable_text(value, path, longest=_longest(path))
    if isinstance(value, float | int) and not isinstance(value, bool):
        return _finite(float(value), path)
    if isinstance(value, tuple):
        if len(value) > MOST_ENTRIES:
            raise CertificateError(path, f"{len(value)} entries; there is room for {MOST_ENTRIES}.")
        return tuple(_cleaned(entry, f"{path}[{index}]") for index, entry in enumerate(value))
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        entries = {
            field.name: _cleaned(getattr(value, field.name), _path(path, field.name))
            for field in dataclasses.fields(value)
        }
        return dataclasses.replace(value, **entries)
    return value


def _path(path: str, name: str) -> str:
    """Results are named without the body they are in."""
    return path if name == "body" else f"{path}.{name}".lstrip(".")


def _refuse_another_budget(point: Any, field: str) -> None:
    if not hasattr(point, "budget"):
        return
    name = "expanded_u_ohm" if hasattr(point, "expanded_u_ohm") else "expanded_u_k"
    stated, from_budget, unit = getattr(point, name), point.budget.expanded_u, point.budget.unit
    if not math.isclose(stated, from_budget, rel_tol=1e-3):
        raise CertificateError(
            f"{field}.{name}",
            f"{stated:g} {unit} is not what its budget gives, {from_budget:g} {unit}: "
            "the paper would print one and explain the other.",
        )


def _refuse_unknown_unit(point: Any, field: str) -> None:
    unit = getattr(point, "unit", None)
    if unit is not None and unit not in UNITS:
        known = ", ".join(one for one in UNITS if one)
        raise CertificateError(field, f"{unit!r} has no spelling in the machine's form: take one of {known}.")


def _refuse_no_picture(logo: bytes) -> None:
    if logo and not logo.startswith(_LOGO_BEGINS):
        raise CertificateError("logo", "the shop's picture must be a PNG or JPEG file.")
    if len(logo) > LARGEST_LOGO:
        raise CertificateError(
            "logo", f"{len(logo)} bytes; there is room for {LARGEST_LOGO}. Make the picture smaller."
        )


def _finite(number: float, path: str) -> float:
    name = _name_of(path)
    if name == "degrees_of_freedom":
        if not number > 0:
            raise CertificateError(path, f"{number:g} must be greater than zero.")
        return number
    if not abs(number) <= LARGEST_NUMBER:
        raise CertificateError(path, f"{number} is no number to certify.")
    if name in _POSITIVE or path.endswith("budget.standard_u"):
        if not number >= SMALLEST_UNCERTAINTY:
            raise CertificateError(path, f"{number:g} must be greater than zero.")
    elif name == "standard_u":
        if not number >= 0:
            raise CertificateError(path, f"{number:g} must not be negative.")
        if number < SMALLEST_UNCERTAINTY:
            return (
                0.0  # a line of a budget that adds nothing: what rounding leaves of a bath that stood still
            )
    return number


def longest_of(name: str) -> int | None:
    """Room for a text of that name on a certificate; None where the name is none of a certificate's."""
    return _SHORTER.get(name, LONGEST_NAME if name in _NAMES else None)


def _longest(path: str) -> int:
    if path in _SHORTER:
        return _SHORTER[path]
    return LONGEST_NAME if _name_of(path) in _NAMES else LONGEST_TEXT


def _name_of(path: str) -> str:
    return path.rsplit(".", 1)[-1].split("[", 1)[0]
