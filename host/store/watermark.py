"""The watermark: the largest n with all of 1 … n of a boot accounted for (protocol, rule 8)."""

from sqlalchemy import BindParameter, Connection, bindparam, select, update

from host.store.schema import gaps, packs, refused, watermarks

_LOOK_AHEAD = 500

# Built once: at one commit a reading, building them anew would cost more than running them.
_STATION: BindParameter[str] = bindparam("at_station")
_BOOT: BindParameter[str] = bindparam("at_boot")
_ABOVE: BindParameter[int] = bindparam("above")
_WATERMARK = select(watermarks.c.w).where(watermarks.c.station == _STATION, watermarks.c.boot == _BOOT)
_MOVE = (
    update(watermarks)
    .where(watermarks.c.station == _STATION, watermarks.c.boot == _BOOT)
    .values(w=bindparam("to"))
)
_SPANS = tuple(
    select(first, last)
    .where(table.c.station == _STATION, table.c.boot == _BOOT, last > _ABOVE, *also)
    .order_by(first)
    .limit(_LOOK_AHEAD)
    for table, first, last, also in (
        (packs, packs.c.seq, packs.c.seq, ()),
        (refused, refused.c.seq, refused.c.seq, (refused.c.accounts.is_(True),)),
        (gaps, gaps.c.first, gaps.c.last, ()),
    )
)


def watermark(connection: Connection, station: str, boot: str) -> int:
    """Watermark of one boot, 0 where nothing is accounted for."""
    here = {"at_station": station, "at_boot": boot}
    return int(connection.execute(_WATERMARK, here).scalar_one_or_none() or 0)


def raise_watermark(connection: Connection, station: str, boot: str) -> int | None:
    """Move the watermark as far as the rows allow, in the transaction that wrote them.

    Returns
    -------
    int or None
        The new watermark, None where it did not move.
    """
    before = watermark(connection, station, boot)
    after = _highest_contiguous(connection, station, boot, before)
    if after == before:
        return None
    moved = connection.execute(_MOVE, {"at_station": station, "at_boot": boot, "to": after})
    if moved.rowcount == 0:
        connection.execute(watermarks.insert(), {"station": station, "boot": boot, "w": after})
    return after


def _highest_contiguous(connection: Connection, station: str, boot: str, w: int) -> int:
    while True:
        top = w
        spans, all_seen = _spans_above(connection, station, boot, w)
        for first, last in sorted(spans):
            if first > top + 1:
                break
            top = max(top, last)
        if top == w or all_seen:
            return top
        w = top


def _spans_above(
    connection: Connection, station: str, boot: str, w: int
) -> tuple[list[tuple[int, int]], bool]:
    """Lowest accounted-for spans above ``w``, and whether these are all."""
    here = {"at_station": station, "at_boot": boot, "above": w}
    spans: list[tuple[int, int]] = []
    all_seen = True
    for query in _SPANS:
        found = connection.execute(query, here).all()
        all_seen = all_seen and len(found) < _LOOK_AHEAD
        spans += [(int(first), int(last)) for first, last in found]
    return spans, all_seen
