"""Messages that cannot be taken, kept aside with their reason."""

import hashlib
from dataclasses import dataclass

from sqlalchemy import Connection, func, select, update

from calibration.contract.topics import MAX_MESSAGE_BYTES
from host.store.engine import Database
from host.store.schema import refused

DAILY_LIMIT = 1000
_DAY_S = 86_400.0
_OVER_LIMIT = f"more than {DAILY_LIMIT:,} messages kept aside today: the rest is only counted"


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """Why one message was kept aside.

    Attributes
    ----------
    station : str
        Station of the topic it came on.
    known : bool
        Whether that station was added.
    kind : str
        Kind of message, by its topic.
    reason : str
        In words.
    boot, seq : str or None, int or None
        Its key, where it could still be read.
    accounts : bool
        Whether its number counts as accounted for (protocol, rule 8).
    """

    station: str
    known: bool
    kind: str
    reason: str
    boot: str | None = None
    seq: int | None = None
    accounts: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class AsideMessage:
    """A message kept aside; ``payload`` is None where only the count is kept. Times in seconds of UTC."""

    refusal: Refusal
    payload: bytes | None
    count: int
    first_utc_s: float
    last_utc_s: float


class Aside:
    """Messages kept aside."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def keep(self, payload: bytes, refusal: Refusal, at_utc_s: float) -> None:
        """Keep one message aside in a transaction of its own."""
        with self._database.writing() as connection:
            keep_aside(connection, payload, refusal, at_utc_s)

    def all(self, station: str | None = None, *, limit: int = 1000) -> list[AsideMessage]:
        """Messages kept aside, newest first."""
        query = select(refused).order_by(refused.c.last_utc_s.desc(), refused.c.id.desc()).limit(limit)
        if station is not None:
            query = query.where(refused.c.station == station)
        with self._database.reading() as connection:
            rows = connection.execute(query).mappings().all()
        return [
            AsideMessage(
                refusal=Refusal(
                    station=row["station"],
                    known=row["known"],
                    kind=row["kind"],
                    reason=row["reason"],
                    boot=row["boot"],
                    seq=row["seq"],
                    accounts=row["accounts"],
                ),
                payload=row["payload"],
                count=row["count"],
                first_utc_s=row["first_utc_s"],
                last_utc_s=row["last_utc_s"],
            )
            for row in rows
        ]


def keep_aside(connection: Connection, payload: bytes, refusal: Refusal, at_utc_s: float) -> None:
    """Keep one message aside, inside the caller's transaction.

    The same bytes again only raise a count. What counts as accounted for is always kept;
    the rest is limited to `DAILY_LIMIT` a station a day (all unknown stations together
    have one such limit), beyond which messages are counted but their bytes are let go.
    Of a message over the limit of the wire the first 64 KiB are kept.
    """
    digest = hashlib.sha256(payload).hexdigest()
    if _count_again(connection, refusal.station, digest, at_utc_s):
        return
    if refusal.accounts or _kept_today(connection, refusal, at_utc_s) < DAILY_LIMIT:
        _insert(connection, payload, digest, refusal, at_utc_s)
        return
    over = Refusal(station=refusal.station, known=refusal.known, kind=refusal.kind, reason=_OVER_LIMIT)
    if not refusal.known:
        over = Refusal(station="", known=False, kind=refusal.kind, reason=_OVER_LIMIT)
    overflow_digest = f"over-limit-{int(at_utc_s // _DAY_S)}"
    if not _count_again(connection, over.station, overflow_digest, at_utc_s):
        _insert(connection, None, overflow_digest, over, at_utc_s)


def _count_again(connection: Connection, station: str, digest: str, at_utc_s: float) -> bool:
    again = connection.execute(
        update(refused)
        .where(refused.c.station == station, refused.c.digest == digest)
        .values(count=refused.c.count + 1, last_utc_s=at_utc_s)
    )
    return again.rowcount > 0


def _kept_today(connection: Connection, refusal: Refusal, at_utc_s: float) -> int:
    same = refused.c.station == refusal.station if refusal.known else refused.c.known.is_(False)
    midnight_utc_s = at_utc_s - at_utc_s % _DAY_S
    query = select(func.count()).where(
        same,
        refused.c.first_utc_s >= midnight_utc_s,
        refused.c.accounts.is_(False),
        refused.c.payload.is_not(None),
    )
    return int(connection.execute(query).scalar_one())


def _storable(text: str) -> str:
    """Text that every database takes, whatever a message made a reason quote."""
    return text.replace("\0", "\\0").encode("utf-8", "backslashreplace").decode("utf-8")


def _insert(
    connection: Connection, payload: bytes | None, digest: str, refusal: Refusal, at_utc_s: float
) -> None:
    connection.execute(
        refused.insert().values(
            station=refusal.station,
            known=refusal.known,
            kind=refusal.kind,
            boot=refusal.boot,
            seq=refusal.seq,
            accounts=refusal.accounts,
            digest=digest,
            payload=None if payload is None else payload[:MAX_MESSAGE_BYTES],
            reason=_storable(refusal.reason),
            count=1,
            first_utc_s=at_utc_s,
            last_utc_s=at_utc_s,
        )
    )
