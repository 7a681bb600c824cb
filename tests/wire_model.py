"""Rig and desk over a wire that loses, repeats and breaks: real outbox, link, ingest and store, one thread.

A schedule is a seed: passes are taken, messages lost, both ends started anew, rows pruned and thinned, stores
restored and copied back by hand, cards damaged, rigs joined to another desk. Then the wire is healed, and two
laws are checked: nothing stalls, and nothing is lost silently.

Alone: python tests/wire_model.py --schedules 3000
"""

import argparse
import logging
import os
import random
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any
from unittest import mock

from sqlalchemy import event

from calibration.contract.joining import JoinFile
from calibration.contract.readings import ChannelReading, Insertion, Quality, ReadingPack
from calibration.contract.senml import encode_readings
from calibration.contract.topics import station_and_kind, topic
from host.data_folder import DataFolder
from host.ingest import _CAME_UP, Ingest, _Message
from host.live import Live
from host.store import Store, open_store
from rig.bell import Bell
from rig.clock import SimulatedClock
from rig.connection import BrokerAddress, ConnectionState, Message
from rig.joining import join_rig
from rig.link import Link, RigFacts
from rig.order_desk import OrderDesk
from rig.order_log import OrderLog
from rig.outbox import Outbox
from rig.outbox_file import OutboxFile
from rig.trouble import TroubleBoard

STATION = "bench-1"
_ROUNDS_TO_HEAL = 400


class StalledError(AssertionError):
    """The wire is whole, and still not all is accounted for."""


class LostError(AssertionError):
    """A number is neither a reading nor a gap at the desk."""


class WallClock:
    """Wall time that both ends see; it moves when the schedule says so."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def monotonic(self) -> float:
        return self.now_s

    def time(self) -> float:
        return 1.8e9 + self.now_s


class _Broker:
    """Queues in both directions, and what is retained."""

    def __init__(self) -> None:
        self.to_desk: list[tuple[str, bytes]] = []
        self.to_rig: list[tuple[str, bytes]] = []
        self.retained: dict[str, bytes] = {}


class _RigEnd:
    """What the link believes to be its connection."""

    def __init__(self, broker: _Broker) -> None:
        self._broker = broker
        self.state = ConnectionState.UP

    def publish(self, topic_text: str, payload: bytes, *, retain: bool = False) -> None:
        if retain:
            self._broker.retained[topic_text] = payload
        self._broker.to_desk.append((topic_text, payload))


class _DeskEnd:
    """What the ingest believes to be its wire."""

    is_up = True

    def __init__(self, broker: _Broker) -> None:
        self._broker = broker

    def publish(self, topic_text: str, payload: bytes, *, retain: bool = False) -> bool:
        if retain:
            self._broker.retained[topic_text] = payload
        self._broker.to_rig.append((topic_text, payload))
        return True


def memory_folder() -> str | None:
    """Folder in memory, where there is one: a disk's own pace is no part of the model."""
    return "/dev/shm" if os.access("/dev/shm", os.W_OK) else None


def make_templates(folder: Path) -> list[Path]:
    """Two new stores that know the station, to be copied: making one takes far longer than a schedule."""
    made = []
    for name in ("a", "b"):
        store = open_store(DataFolder(folder / f"template-{name}"))
        store.stations.add(STATION)
        store.close()
        made.append(folder / f"template-{name}" / "store.sqlite")
    return made


class WireModel:
    """One schedule.

    Parameters
    ----------
    seed : int
        All chance of it.
    folder : Path
        An empty folder of its own.
    templates : list[Path]
        See `make_templates`.
    wall : WallClock
        In the place of ``time`` at both ends.
    """

    def __init__(self, seed: int, folder: Path, templates: list[Path], wall: WallClock) -> None:
        self.chance = random.Random(seed)
        self.folder = folder
        self.wall = wall
        self.broker = _Broker()
        self.deeds: Counter[str] = Counter()
        self.desk_folders = []
        for template, name in zip(templates, ("a", "b"), strict=True):
            (folder / name).mkdir()
            shutil.copy(template, folder / name / "store.sqlite")
            self.desk_folders.append(folder / name)
        self.at_desk = 0
        self.backup: Path | None = None
        self.given: dict[tuple[str, int], bytes] = {}
        self._open_desk()
        self._open_rig()

    # -- the two ends -------------------------------------------------------------------------

    def _open_rig(self) -> None:
        self.file = OutboxFile(self.folder / "outbox.sqlite", station=None if self.given else STATION)
        self.file._db.execute("PRAGMA synchronous = OFF")  # kills are another test's
        bell = Bell()
        self.outbox = Outbox(self.file, bell)
        self.orders = OrderDesk(
            orders_log=OrderLog(self.file),
            boot=self.file.boot,
            store=lambda: None,
            clock=SimulatedClock(),
            bell=bell,
        )
        self.link = Link(
            address=BrokerAddress(host="", port=1),
            file=self.file,
            outbox=self.outbox,
            orders=self.orders,
            troubles=TroubleBoard(bell),
            bell=bell,
            facts=RigFacts(speed=1.0, simulated=True, version="0"),
            synchronised=lambda: False,
        )
        self._connect_rig()

    def _connect_rig(self) -> None:
        self.rig_end = _RigEnd(self.broker)
        self.link._connects += 1
        self.link._desk_heard_at_s = float("-inf")
        self.link._window.restart(wall_s=self.wall.now_s)
        self.link._presence_due_s = 0.0
        self.link._hold_until_s = self.wall.now_s + 1.0
        stored = self.broker.retained.get(topic(STATION, "stored"))
        if stored is not None:
            self._rig_hears(topic(STATION, "stored"), stored, retained=True)

    def _open_desk(self) -> None:
        self.broker.to_desk.clear()  # a clean session: what was queued for the one before is gone
        self.store: Store = open_store(DataFolder(self.desk_folders[self.at_desk]))
        event.listen(self.store._database.engine, "connect", _synchronous_off)
        self.store._database.engine.dispose()
        self.live = Live.from_store(self.store)
        self.ingest = Ingest(self.store, self.live)
        self.ingest._wire = _DeskEnd(self.broker)  # type: ignore[assignment]
        self.ingest._stored._wall_s = self.wall.monotonic
        self.ingest._look_for_stations()
        retained = [
            message
            for topic_text, payload in self.broker.retained.items()
            if topic_text.endswith(("/stored", "/presence"))
            for message in (self._desk_message(topic_text, payload, retained=True),)
        ]
        self.ingest._work_off([*retained, _CAME_UP])

    def close(self) -> None:
        """Close both ends."""
        self.file.close()
        self.store.close()

    def _desk_message(self, topic_text: str, payload: bytes, *, retained: bool = False) -> _Message:
        known = station_and_kind(topic_text)
        assert known is not None
        return _Message(known[0], known[1], payload, retained, self.wall.time())

    def _rig_hears(self, topic_text: str, payload: bytes, *, retained: bool = False) -> None:
        self.link._message_came(Message(topic=topic_text, payload=payload, retained=retained))

    # -- what may happen ----------------------------------------------------------------------

    def take_passes(self) -> None:
        """Passes are taken, one or a few in a transaction."""
        for _ in range(self.chance.randint(1, 12)):
            group = self.chance.choice((1, 1, 4))
            numbers = self.outbox.append_all([self._encode] * group, kept_at_utc_s=self.wall.time())
            for seq in numbers:
                self.given[self.file.boot, seq] = self._encode(seq)

    def _encode(self, seq: int) -> bytes:
        return encode_readings(
            ReadingPack(
                station=STATION,
                rig=self.file.rig,
                boot=self.file.boot,
                seq=seq,
                rig_time_s=seq / 4,
                simulated=True,
                decade_ohm=0.0,
                insertion=Insertion.NONE,
                range_ohm=2700.0,
                channels={"witness": ChannelReading(quality=Quality.GOOD, value=20.0)},
            )
        )

    def rig_works(self) -> None:
        """The link sends what is due."""
        if self.rig_end.state is ConnectionState.UP:
            self.link._send_what_is_due(self.rig_end)  # type: ignore[arg-type]

    def wire_carries(self, *, loss: float = 0.15, most: int = 60) -> None:
        """Some messages arrive in both directions; some are lost, some come twice."""
        arrived, self.broker.to_desk = self._carried(self.broker.to_desk, loss, most)
        if arrived:
            self.ingest._work_off([self._desk_message(*message) for message in arrived])
        else:
            self.ingest._say_stored()
        arrived, self.broker.to_rig = self._carried(self.broker.to_rig, loss, most)
        for message in arrived:
            self._rig_hears(*message)

    def _carried(
        self, waiting: list[tuple[str, bytes]], loss: float, most: int
    ) -> tuple[list[tuple[str, bytes]], list[tuple[str, bytes]]]:
        count = self.chance.randint(0, most) if loss else most
        arrived = []
        for message in waiting[:count]:
            if self.chance.random() >= loss:
                arrived.append(message)
            if loss and self.chance.random() < 0.05:
                arrived.append(message)
        return arrived, waiting[count:]

    def wall_goes_on(self) -> None:
        """Wall time passes."""
        self.wall.now_s += self.chance.choice((0.1, 0.3, 1.0, 6.0, 40.0))

    def connection_breaks(self) -> None:
        """Everything under way is lost, and the rig connects anew."""
        self.broker.to_desk.clear()
        self.broker.to_rig.clear()
        self._connect_rig()

    def broker_forgets(self) -> None:
        """A broker that keeps nothing on disk is started anew."""
        self.broker.retained.clear()
        self.connection_breaks()
        self.ingest._work_off([_CAME_UP])

    def rig_starts_anew(self) -> None:
        """The rig's program ends and starts: a new boot."""
        self.file.close()
        self.broker.to_rig.clear()
        self._open_rig()

    def desk_starts_anew(self) -> None:
        """The desk's program ends and starts."""
        self.store.close()
        self._open_desk()

    def old_ones_go(self) -> None:
        """Stored messages come of age."""
        self.outbox.prune(now_utc_s=self.wall.time() + 1e7)

    def room_runs_short(self) -> None:
        """Room runs short: stored ones go, idle ones are thinned, then no new one is taken."""
        self.outbox._keep_bytes = self.chance.choice((1, 150_000, 250_000))
        self.outbox._kept_since_look = 10**6
        self.take_passes()
        self.outbox._keep_bytes = 1 << 30
        if self.chance.random() < 0.7:
            self.outbox._kept_since_look = 10**6

    def desk_is_backed_up(self) -> None:
        """A backup of the store is made."""
        self.store.close()
        self.backup = self.desk_folders[self.at_desk].with_suffix(".backup")
        shutil.copy(self.desk_folders[self.at_desk] / "store.sqlite", self.backup)
        self._open_desk()

    def desk_is_restored(self, *, by_hand: bool) -> None:
        """The backup is put back, by the command or by hand."""
        if self.backup is None or self.backup.stem != self.desk_folders[self.at_desk].name:
            return
        self.store.close()
        path = self.desk_folders[self.at_desk] / "store.sqlite"
        for beside in ("-wal", "-shm"):
            path.with_name(path.name + beside).unlink(missing_ok=True)
        shutil.copy(self.backup, path)
        if not by_hand:
            store = open_store(DataFolder(self.desk_folders[self.at_desk]))
            store.identity.raise_epoch()
            store.close()
        self._open_desk()

    def card_is_damaged(self) -> None:
        """Rows are gone from the outbox when the rig starts anew."""
        rows = self.file._db.execute("SELECT boot, seq FROM message").fetchall()
        lost = self.chance.sample(rows, k=min(len(rows), self.chance.randint(1, 5)))
        self.file._db.executemany("DELETE FROM message WHERE boot = ? AND seq = ?", lost)
        self.rig_starts_anew()

    def rig_is_joined(self) -> None:
        """The rig is joined to the other desk, or to the one it has."""
        if self.chance.random() < 0.7:
            self.store.close()
            self.at_desk = 1 - self.at_desk
            self.broker.to_desk.clear()
            self._open_desk()
        self.file.close()
        file = OutboxFile(self.folder / "outbox.sqlite", starts_boot=False)
        join_rig(file, JoinFile(station=STATION, store=self.store.identity.store, host="desk", port=1))
        file.close()
        self._open_rig()

    # -- a schedule ---------------------------------------------------------------------------

    def run(self, steps: int = 60) -> None:
        """Let things happen, heal the wire, and check the laws.

        Raises
        ------
        StalledError, LostError
        """
        usual: list[tuple[Callable[[], None], float]] = [
            (self.take_passes, 8),
            (self.rig_works, 12),
            (self.wire_carries, 16),
            (self.wall_goes_on, 10),
            (self.connection_breaks, 2),
            (self.broker_forgets, 0.5),
            (self.rig_starts_anew, 1.5),
            (self.desk_starts_anew, 1.5),
            (self.old_ones_go, 2),
            (self.room_runs_short, 1),
            (self.desk_is_backed_up, 1.5),
            (lambda: self.desk_is_restored(by_hand=False), 0.8),
            (lambda: self.desk_is_restored(by_hand=True), 0.8),
            (self.card_is_damaged, 0.5),
            (self.rig_is_joined, 0.6),
        ]
        names = [getattr(deed, "__name__", "") for deed, _ in usual]
        for _ in range(steps):
            which = self.chance.choices(range(len(usual)), [weight for _, weight in usual])[0]
            self.deeds[names[which]] += 1
            usual[which][0]()
        self.heal()
        self.check()

    def heal(self) -> None:
        """Nothing is lost any more: all must come to be accounted for."""
        self.outbox._kept_since_look = 10**6
        for _ in range(_ROUNDS_TO_HEAL):
            self.rig_works()
            self.wire_carries(loss=0.0, most=1000)
            self.wall.now_s += 1.0
            if self.outbox.waiting() == 0 and self.outbox.obeys is not None and self._all_said():
                return
        raise StalledError(
            f"after {_ROUNDS_TO_HEAL} healthy rounds {self.outbox.waiting()} are still waiting"
        )

    def _all_said(self) -> bool:
        obeys = self.outbox.obeys
        assert obeys is not None
        held = (obeys.store, obeys.epoch) == (self.store.identity.store, self.store.identity.epoch)
        return held and all(
            state.epoch >= obeys.epoch or not state.last for state in self.outbox.boots().values()
        )

    def check(self) -> None:
        """Every number that was ever given is at the desk: as a reading with its own bytes, or as a gap."""
        lasts = dict(self.file._db.execute("SELECT boot, last_seq FROM boot WHERE last_seq > 0").fetchall())
        held = set(self.file._db.execute("SELECT boot, seq FROM message"))
        for boot, last in lasts.items():
            stored = {pack.seq: encode_readings(pack) for pack in self.store.readings(STATION, boot, 1, last)}
            gaps = [(gap.first, gap.last) for gap in self.store.packs.gaps(STATION, boot)]
            for seq in range(1, last + 1):
                if seq in stored:
                    if stored[seq] != self.given[boot, seq]:
                        raise LostError(f"number {seq} of {boot} is stored with other bytes")
                elif (boot, seq) in held:
                    raise LostError(f"number {seq} of {boot} is still held by the rig, and not at the desk")
                elif not any(first <= seq <= end for first, end in gaps):
                    raise LostError(f"number {seq} of {boot} is lost silently")


def _synchronous_off(connection: Any, _record: Any) -> None:
    connection.execute("PRAGMA synchronous = OFF")


def run_schedule(seed: int, folder: Path, templates: list[Path], *, steps: int = 60) -> Counter[str]:
    """One schedule in a folder of its own; what happened in it, by name."""
    clock = WallClock()
    with mock.patch("rig.link.time", clock), mock.patch("host.ingest.time", clock):
        model = WireModel(seed, folder, templates, clock)
        try:
            model.run(steps)
        finally:
            model.close()
    return model.deeds


def main() -> None:
    """Run many schedules and say how they went."""
    parser = argparse.ArgumentParser(description="Random schedules over the real outbox and store.")
    parser.add_argument("--schedules", type=int, default=3000)
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--steps", type=int, default=60)
    options = parser.parse_args()
    began_s = time.monotonic()
    failed: list[str] = []
    logging.disable(logging.CRITICAL)
    with tempfile.TemporaryDirectory(dir=memory_folder()) as text:
        templates = make_templates(Path(text))
        for seed in range(options.first_seed, options.first_seed + options.schedules):
            folder = Path(text) / f"schedule-{seed}"
            folder.mkdir()
            try:
                run_schedule(seed, folder, templates, steps=options.steps)
            except AssertionError as error:
                failed.append(f"seed {seed}: {type(error).__name__}: {error}")
            shutil.rmtree(folder)
    took_s = time.monotonic() - began_s
    sys.stdout.write(f"{options.schedules} schedules, {len(failed)} failed, {took_s:.0f} s\n")
    sys.stdout.write("".join(f"{line}\n" for line in failed[:20]))
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
