"""Numbers that a rig drops on purpose: rows become one declared gap, in the caller's transaction (rule 9)."""

import sqlite3
from enum import StrEnum

from calibration.contract.readings import GapPack
from calibration.contract.senml import encode_gap
from rig.outbox_file import OutboxFile


class GapReason(StrEnum):
    """Why numbers were dropped; the words of the contract."""

    THINNED = "thinned"
    FULL = "full"
    CORRUPT = "corrupt"
    DELETED_AFTER_STORED = "deleted_after_stored"


def declare_gap(
    db: sqlite3.Connection, file: OutboxFile, boot: str, first: int, last: int, reason: GapReason
) -> None:
    """Put a gap in the place of the messages ``first`` … ``last``; gaps that it meets become part of it."""
    (low, high) = db.execute(
        "SELECT MIN(first), MAX(last) FROM gap WHERE boot = ? AND last >= ? AND first <= ?",
        (boot, first, last),
    ).fetchone()
    first, last = min(first, low or first), max(last, high or last)
    db.execute("DELETE FROM gap WHERE boot = ? AND first BETWEEN ? AND ?", (boot, first, last))
    db.execute("DELETE FROM message WHERE boot = ? AND seq BETWEEN ? AND ?", (boot, first, last))
    gap = GapPack(station=file.station, rig=file.rig, boot=boot, first=first, last=last, reason=reason.value)
    db.execute("INSERT INTO gap VALUES (?, ?, ?, ?, ?)", (boot, first, last, reason.value, encode_gap(gap)))


def declare_holes(
    db: sqlite3.Connection, file: OutboxFile, boot: str, *, above: int, to: int, reason: GapReason
) -> int:
    """Declare each number of ``above`` + 1 … ``to`` that is not held or declared; how many there were."""
    missing = holes(db, boot, above=above, to=to)
    for first, last in missing:
        declare_gap(db, file, boot, first, last, reason)
    return sum(last - first + 1 for first, last in missing)


def holes(db: sqlite3.Connection, boot: str, *, above: int, to: int) -> list[tuple[int, int]]:
    """Spans of ``above`` + 1 … ``to`` that are neither held nor declared."""
    if above >= to:
        return []
    before = db.execute(
        "WITH span AS (SELECT seq AS first, seq AS last FROM message WHERE boot = :boot AND seq > :above "
        "UNION ALL SELECT first, last FROM gap WHERE boot = :boot AND last > :above "
        "UNION ALL SELECT :to + 1, :to + 1), "
        "reach AS (SELECT first, MAX(last) OVER "
        "(ORDER BY first ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS covered "
        "FROM span WHERE first <= :to + 1) "
        "SELECT MAX(IFNULL(covered, :above), :above) + 1, first - 1 FROM reach "
        "WHERE first > MAX(IFNULL(covered, :above), :above) + 1 ORDER BY first",
        {"boot": boot, "above": above, "to": to},
    )
    return [(int(first), int(last)) for first, last in before]


def declare_corrupt(db: sqlite3.Connection, file: OutboxFile) -> int:
    """Declare what a damaged card has lost of the numbers that no desk has; how many there were."""
    lost = 0
    for boot, watermark, last in db.execute("SELECT boot, watermark, last_seq FROM boot").fetchall():
        if watermark < last:
            lost += declare_holes(db, file, boot, above=watermark, to=last, reason=GapReason.CORRUPT)
    return lost


def gaps_between(db: sqlite3.Connection, boot: str, first: int, last: int) -> list[tuple[int, bytes]]:
    """Declared gaps that reach into ``first`` … ``last``, as (first number, bytes)."""
    return db.execute(
        "SELECT first, payload FROM gap WHERE boot = ? AND last >= ? AND first <= ? ORDER BY first",
        (boot, first, last),
    ).fetchall()
