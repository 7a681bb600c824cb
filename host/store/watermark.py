"""The watermark: the largest n with all of 1 … n of a boot accounted for (protocol, rule 8)."""

from sqlalchemy import Connection, select, update

from host.store.schema import gaps, packs, refused, watermarks

_LOOK_AHEAD = 500


def watermark(connection: Connection, station: str, boot: str) -> int:
    """Watermark of one boot, 0 where nothing is accounted for."""
    query = select(watermarks.c.w).where(watermarks.c.station == station, watermarks.c.boot == boot)
    return int(connection.execute(query).scalar_one_or_none() or 0)


def raise_watermark(connection: Connection, station: str, boot: str) -> int | None:
    """Move the watermark as far as the rows allow, in the transaction that wrote them.

    Returns
    -------
    int or None
        The new watermark, None where it did not move.
    """
    before = watermark(connection, station, boot)
    after = before
    while (top := _contiguous_from(connection, station, boot, after)) > after:
        after = top
    if after == before:
        return None
    moved = connection.execute(
        update(watermarks).where(watermarks.c.station == station, watermarks.c.boot == boot).values(w=after)
    )
    if moved.rowcount == 0:
        connection.execute(watermarks.insert().values(station=station, boot=boot, w=after))
    return after


def _contiguous_from(connection: Connection, station: str, boot: str, w: int) -> int:
    top = w
    for first, last in sorted(_spans_above(connection, station, boot, w)):
        if first > top + 1:
            break
        top = max(top, last)
    return top


def _spans_above(connection: Connection, station: str, boot: str, w: int) -> list[tuple[int, int]]:
    """Lowest accounted-for spans above ``w``: enough of them to tell whether ``w`` may move."""
    spans: list[tuple[int, int]] = []
    readings = select(packs.c.seq).where(packs.c.station == station, packs.c.boot == boot, packs.c.seq > w)
    for (seq,) in connection.execute(readings.order_by(packs.c.seq).limit(_LOOK_AHEAD)):
        spans.append((seq, seq))
    aside = select(refused.c.seq).where(
        refused.c.station == station, refused.c.boot == boot, refused.c.seq > w, refused.c.accounts.is_(True)
    )
    for (seq,) in connection.execute(aside.order_by(refused.c.seq).limit(_LOOK_AHEAD)):
        spans.append((seq, seq))
    declared = select(gaps.c.first, gaps.c.last).where(
        gaps.c.station == station, gaps.c.boot == boot, gaps.c.last > w
    )
    for first, last in connection.execute(declared.order_by(gaps.c.first).limit(_LOOK_AHEAD)):
        spans.append((first, last))
    return spans
