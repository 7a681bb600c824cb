"""Readings and declared gaps as they came from the wire, each number once."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, bindparam, func, select

from calibration.contract.messages import MessageError
from calibration.contract.readings import GapPack, ReadingPack
from calibration.contract.senml import decode_readings
from host.citation import Citation
from host.store import schema
from host.store.aside import Refusal, keep_aside
from host.store.engine import Database
from host.store.kept_reading import KeptReading
from host.store.rests_on import kept_readings
from host.store.stations import bind, copied_of, rigs_of
from host.store.watermark import raise_watermark, watermark

Key = tuple[str, str, int]
BootKey = tuple[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrival:
    """A message on a station's readings topic, undecoded. ``received_utc_s`` is the desk's UTC. [s]"""

    station: str
    payload: bytes
    received_utc_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What a batch brought.

    Attributes
    ----------
    readings : tuple[ReadingPack, ...]
        New ones, in the order of arrival.
    watermarks : Mapping[tuple[str, str], int]
        Those that rose, by (station, boot).
    aside : int
        How many messages were kept aside.
    """

    readings: tuple[ReadingPack, ...]
    watermarks: Mapping[BootKey, int]
    aside: int


class Packs:
    """Readings and gaps."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def take(self, arrivals: Sequence[Arrival]) -> Taken:
        """Store a batch in one transaction; the watermarks move in the same one.

        Nothing in a message makes this raise: what cannot be taken is kept aside.
        """
        decoded = [(arrival, _decoded(arrival)) for arrival in arrivals]
        with self._database.writing() as connection:
            batch = _Batch(connection, decoded)
            for arrival, pack in decoded:
                batch.take(arrival, pack)
            return batch.finish()

    def readings(
        self, station: str, boot: str, first: int, last: int, *, every: int = 1
    ) -> list[ReadingPack]:
        """Readings ``first`` to ``last`` of a boot, both included, by number; gaps are simply absent.

        With ``every`` only those whose number it divides: enough for a picture.
        """
        table = schema.packs
        query = (
            select(table.c.station, table.c.payload)
            .where(table.c.station == station, table.c.boot == boot, table.c.seq.between(first, last))
            .where(table.c.seq % every == 0)
            .order_by(table.c.seq)
        )
        with self._database.reading() as connection:
            rows = connection.execute(query).all()
        return [_stored(row.station, row.payload) for row in rows]

    def kept(self, cited: Iterable[Citation]) -> list[KeptReading]:
        """Readings of citations as they are kept, each once, unchecked."""
        with self._database.reading() as connection:
            return kept_readings(connection, cited)

    def payloads(self, station: str, boot: str, first: int, last: int) -> list[tuple[int, bytes]]:
        """Number and bytes, as they came, of readings ``first`` to ``last`` of a boot."""
        table = schema.packs
        query = (
            select(table.c.seq, table.c.payload)
            .where(table.c.station == station, table.c.boot == boot, table.c.seq.between(first, last))
            .order_by(table.c.seq)
        )
        with self._database.reading() as connection:
            return [(row.seq, row.payload) for row in connection.execute(query)]

    def recent(self, station: str, limit: int) -> list[ReadingPack]:
        """Newest readings of a station over all boots, oldest first."""
        table = schema.packs
        query = (
            select(table.c.station, table.c.payload)
            .where(table.c.station == station)
            .order_by(table.c.boot.desc(), table.c.seq.desc())
            .limit(limit)
        )
        with self._database.reading() as connection:
            rows = connection.execute(query).all()
        return [_stored(row.station, row.payload) for row in reversed(rows)]

    def first_synchronised(self, station: str, boot: str) -> tuple[float, float] | None:
        """Rig time and UTC of a boot's first pass with a synchronised clock; None where there is none. [s]"""
        table = schema.packs
        query = (
            select(table.c.rig_time_s, table.c.utc_s)
            .where(table.c.station == station, table.c.boot == boot, table.c.utc_s.is_not(None))
            .order_by(table.c.seq)
            .limit(1)
        )
        with self._database.reading() as connection:
            row = connection.execute(query).one_or_none()
        return None if row is None else (row.rig_time_s, row.utc_s)

    def latest_boot(self, station: str) -> str | None:
        """Newest boot of which anything is accounted for."""
        table = schema.watermarks
        with self._database.reading() as connection:
            return connection.execute(
                select(func.max(table.c.boot)).where(table.c.station == station)
            ).scalar_one_or_none()

    def watermark(self, station: str, boot: str) -> int:
        """Watermark of a boot, 0 where nothing is accounted for."""
        with self._database.reading() as connection:
            return watermark(connection, station, boot)

    def watermarks(self, station: str) -> dict[str, int]:
        """Watermark of every boot of a station."""
        table = schema.watermarks
        with self._database.reading() as connection:
            rows = connection.execute(select(table.c.boot, table.c.w).where(table.c.station == station))
            return {row.boot: row.w for row in rows}

    def gaps(self, station: str, boot: str) -> list[GapPack]:
        """Declared gaps of a boot."""
        table = schema.gaps
        query = select(table).where(table.c.station == station, table.c.boot == boot).order_by(table.c.first)
        with self._database.reading() as connection:
            rows = connection.execute(query).all()
        return [
            GapPack(
                station=row.station,
                rig=row.rig,
                boot=row.boot,
                first=row.first,
                last=row.last,
                reason=row.reason,
            )
            for row in rows
        ]


def _is_rig(text: str) -> bool:
    return 0 < len(text) <= 64 and text.isascii() and text.isprintable()


def _decoded(arrival: Arrival) -> ReadingPack | GapPack | MessageError:
    try:
        return decode_readings(arrival.payload, station=arrival.station)
    except MessageError as error:
        return error


def _stored(station: str, payload: bytes) -> ReadingPack:
    pack = decode_readings(payload, station=station)
    assert isinstance(pack, ReadingPack)  # only those are written to this table
    return pack


_Decoded = ReadingPack | GapPack | MessageError


@dataclass(slots=True)
class _Batch:
    """One transaction's worth of messages."""

    connection: Connection
    decoded: Iterable[tuple[Arrival, _Decoded]]
    rows: list[dict[str, Any]] = field(default_factory=list)
    readings: list[ReadingPack] = field(default_factory=list)
    touched: set[BootKey] = field(default_factory=set)
    aside: int = 0
    rigs: dict[str, str | None] = field(init=False)
    copied: set[str] = field(init=False)
    digests: dict[Key, str] = field(init=False)

    def __post_init__(self) -> None:
        self.rigs = rigs_of(self.connection)
        self.copied = copied_of(self.connection)
        self.digests = _stored_digests(self.connection, self.decoded)

    def take(self, arrival: Arrival, pack: _Decoded) -> None:
        """Take one message, or keep it aside."""
        if arrival.station not in self.rigs:
            self._refuse(
                arrival, f"unknown station: add it with 'ohmbath station add {arrival.station}'", known=False
            )
        elif isinstance(pack, MessageError):
            if arrival.station in self.copied:
                self._refuse(arrival, f"two live boots speak under one rig id; {pack}", boot=pack.boot)
                return
            self._refuse_undecodable(arrival, pack)
        elif not _is_rig(pack.rig):
            self._refuse(arrival, f"{pack.rig!r:.40} is no rig id: 1 to 64 plain characters are expected")
        elif not self._is_its_rig(arrival.station, pack.rig):
            bound = self.rigs[arrival.station]
            self._refuse(arrival, f"rig {pack.rig} speaks as this station, which is tied to rig {bound}")
        elif arrival.station in self.copied:
            words = f"two live boots speak under rig {pack.rig}: join each of the two rigs anew"
            self._refuse(arrival, words, boot=pack.boot)
        elif isinstance(pack, GapPack):
            self._take_gap(arrival, pack)
        else:
            self._take_reading(arrival, pack)

    def finish(self) -> Taken:
        """Write the readings, move the watermarks."""
        if self.rows:
            self.connection.execute(_INSERT, self.rows)
        risen: dict[BootKey, int] = {}
        for station, boot in sorted(self.touched):
            w = raise_watermark(self.connection, station, boot)
            if w is not None:
                risen[station, boot] = w
        return Taken(readings=tuple(self.readings), watermarks=risen, aside=self.aside)

    def _is_its_rig(self, station: str, rig: str) -> bool:
        if self.rigs[station] is None:
            self.rigs[station] = bind(self.connection, station, rig)
        return self.rigs[station] == rig

    def _take_reading(self, arrival: Arrival, pack: ReadingPack) -> None:
        key = (pack.station, pack.boot, pack.seq)
        kept = KeptReading.of(pack, arrival.payload, arrival.received_utc_s)
        if key in self.digests:
            if self.digests[key] != kept.digest:
                self._refuse(
                    arrival,
                    f"conflict: number {pack.seq} of boot {pack.boot} is stored with other bytes",
                    boot=pack.boot,
                    seq=pack.seq,
                )
            return
        self.digests[key] = kept.digest
        self.readings.append(pack)
        self.touched.add((pack.station, pack.boot))
        self.rows.append(kept.as_row())

    def _take_gap(self, arrival: Arrival, gap: GapPack) -> None:
        table = schema.gaps
        known = select(func.count()).where(
            table.c.station == gap.station,
            table.c.boot == gap.boot,
            table.c.first == gap.first,
            table.c.last == gap.last,
        )
        if self.connection.execute(known).scalar_one():
            return
        self.connection.execute(
            table.insert().values(
                station=gap.station,
                boot=gap.boot,
                first=gap.first,
                last=gap.last,
                rig=gap.rig,
                reason=gap.reason,
                received_utc_s=arrival.received_utc_s,
            )
        )
        self.touched.add((gap.station, gap.boot))

    def _refuse_undecodable(self, arrival: Arrival, error: MessageError) -> None:
        """Keep a damaged message; with a readable key it counts, or it would block its station for ever."""
        keyed = error.boot is not None and error.seq is not None
        taken = keyed and self._is_accounted(arrival.station, str(error.boot), int(error.seq or 0))
        reason = f"conflict: its number is accounted for already; {error}" if taken else str(error)
        self._refuse(arrival, reason, boot=error.boot, seq=error.seq, accounts=keyed and not taken)
        if keyed:
            self.touched.add((arrival.station, str(error.boot)))

    def _is_accounted(self, station: str, boot: str, seq: int) -> bool:
        if (station, boot, seq) in self.digests or seq <= watermark(self.connection, station, boot):
            return True
        table = schema.refused
        query = select(func.count()).where(
            table.c.station == station, table.c.boot == boot, table.c.seq == seq, table.c.accounts.is_(True)
        )
        return int(self.connection.execute(query).scalar_one()) > 0

    def _refuse(
        self,
        arrival: Arrival,
        reason: str,
        *,
        known: bool = True,
        boot: str | None = None,
        seq: int | None = None,
        accounts: bool = False,
    ) -> None:
        refusal = Refusal(
            station=arrival.station,
            known=known,
            kind="readings",
            reason=reason,
            boot=boot,
            seq=seq,
            accounts=accounts,
        )
        keep_aside(self.connection, arrival.payload, refusal, arrival.received_utc_s)
        self.aside += 1


_INSERT = schema.packs.insert()
_DIGESTS = select(schema.packs.c.seq, schema.packs.c.digest).where(
    schema.packs.c.station == bindparam("at_station"),
    schema.packs.c.boot == bindparam("at_boot"),
    schema.packs.c.seq.in_(bindparam("seqs", expanding=True)),
)


def _stored_digests(connection: Connection, decoded: Iterable[tuple[Arrival, _Decoded]]) -> dict[Key, str]:
    """Digests of the readings already stored under the numbers of this batch."""
    wanted: dict[BootKey, set[int]] = {}
    for arrival, pack in decoded:
        if isinstance(pack, ReadingPack):
            wanted.setdefault((pack.station, pack.boot), set()).add(pack.seq)
        elif isinstance(pack, MessageError) and pack.boot is not None and pack.seq is not None:
            wanted.setdefault((arrival.station, pack.boot), set()).add(pack.seq)
    found: dict[Key, str] = {}
    for (station, boot), seqs in wanted.items():
        here = {"at_station": station, "at_boot": boot, "seqs": sorted(seqs)}
        for row in connection.execute(_DIGESTS, here):
            found[station, boot, row.seq] = row.digest
    return found
