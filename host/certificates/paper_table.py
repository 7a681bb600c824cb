"""A table of results in the characters of the paper, each column aligned at its decimal points."""

import re
from typing import Any

from host.certificates.results.results import Column, ResultTable, Role
from host.pictures.verdict_shape import SHAPES

_LONGEST_WORD = 26
_WORD_PIECE = 13
_MAY_BREAK = "\u200b"
#: A hyphen that stands for a minus: before a number that begins, or between two terms.
_MINUS = re.compile(r"(?<![\w.])-(?=[\d.])|(?<= )-(?= )")
#: The blank between a number and its unit, where no line may break.
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=Ω)")
_BETWEEN = re.compile(r"(?<=\d) (?=(?:Ω|%|°C|°F|K\b))|(?<=±) (?=\d)")
_TIGHT_PERCENT = re.compile(r"(?<=\d)%")
#: Width of a column of words against one of numbers, by its longest word, within these. [characters]
_NARROWEST_WORDS, _WIDEST_WORDS = 8, 46
#: Words up to this long are given the room to stand in one line. [characters]
_ONE_LINE = 16
_NARROWEST_NUMBER = 5
_VERDICT_WIDTH = 17


def table_data(table: ResultTable) -> dict[str, Any]:
    """Columns of a table: words, numbers with their uncertainties, k, limit, verdict."""
    words = [_words(name, texts) for name, texts in table.labels]
    numbers: list[dict[str, Any]] = []
    for column in table.columns:
        if column.role is Role.LIMIT:
            numbers.append(_k(table))
        numbers.extend(_numbers(column))
    if all(column.role is not Role.LIMIT for column in table.columns):
        numbers.append(_k(table))
    verdicts = [_verdict(verdict) for verdict in table.verdicts] if any(table.verdicts) else []
    widths = [column["width"] for column in (*words, *numbers)] + ([_VERDICT_WIDTH] if verdicts else [])
    return {
        "title": breakable(table.title),
        "words": words,
        "numbers": numbers,
        "verdicts": verdicts,
        "widths": widths,
        "rows": len(table.verdicts),
        "note": breakable(table.note),
    }


def breakable(text: str) -> str:
    """Text whose overlong words may break, so that no word runs off the paper."""
    return " ".join(
        word
        if len(word) <= _LONGEST_WORD
        else _MAY_BREAK.join(word[at : at + _WORD_PIECE] for at in range(0, len(word), _WORD_PIECE))
        for word in text.split(" ")
    )


def with_minus(text: str) -> str:
    """Our own words with a minus sign where a hyphen stands for one."""
    return _MINUS.sub("−", text)


def with_its_unit(text: str) -> str:
    """Words in which no line breaks between a number and its unit, nor between ± and its number."""
    return _BETWEEN.sub("\u00a0", text)


def percent_apart(text: str) -> str:
    """Words with a blank between a number and its per cent sign (SI brochure, 5.4.7)."""
    return _TIGHT_PERCENT.sub("\u00a0%", text)


def decimal_pads(texts: tuple[str, ...]) -> list[str]:
    """What each number lacks at its right end, so that the decimal points stand under each other."""
    tails = [text.partition(".")[2] for text in texts]
    longest = max((len(tail) for tail in tails), default=0)
    return [
        "0" * (longest - len(tail)) if "." in text else "." * bool(longest) + "0" * longest
        for text, tail in zip(texts, tails, strict=True)
    ]


def _words(name: str, texts: tuple[str, ...]) -> dict[str, Any]:
    longest = max((len(text) for text in texts), default=0)
    return {
        "name": name,
        "texts": [breakable(_BEFORE_UNIT.sub("\u00a0", text)) for text in texts],
        "width": min(max(longest, _NARROWEST_WORDS), _WIDEST_WORDS) * (1.15 if longest <= _ONE_LINE else 0.9),
    }


def _numbers(column: Column) -> list[dict[str, Any]]:
    is_error, is_repeated = column.role is Role.ERROR, column.role is Role.REPEATED
    shown = [_column(column.name, column.unit, column.texts, bold=is_error, soft=is_repeated)]
    if column.prints_u:
        unit = "K" if column.unit == "°C" else column.unit
        shown.append(_column("± U", unit, column.u_texts, soft=not is_error))
    return shown


def _k(table: ResultTable) -> dict[str, Any]:
    return _column("", "k", tuple(f"{k:.2f}" for k in table.k), soft=True)


def _column(
    name: str, unit: str, texts: tuple[str, ...], *, bold: bool = False, soft: bool = False
) -> dict[str, Any]:
    pads = decimal_pads(texts)
    longest = max((len(text) + len(pad) for text, pad in zip(texts, pads, strict=True)), default=0)
    words = max((min(len(word), _LONGEST_WORD) for word in name.split(" ")), default=0)
    return {
        "name": breakable(name),
        "unit": unit,
        "texts": list(texts),
        "pads": pads,
        "bold": bold,
        "soft": soft,
        "width": max(longest, 0.72 * words, _NARROWEST_NUMBER) + 1.5,
    }


def _verdict(verdict: Any) -> dict[str, str]:
    if verdict is None:
        return {"verdict": "", "shape": "", "words": ""}
    return {"verdict": verdict.value, "shape": SHAPES[verdict], "words": verdict.words}
