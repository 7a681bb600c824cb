"""Which rig and which desk a station is tied to: another's words are neither taken nor written over."""

from collections.abc import Callable
from datetime import UTC
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from calibration.contract.joining import decode_join_file, encode_join_file
from calibration.contract.presence import (
    Obeys,
    Presence,
    Stored,
    decode_stored,
    encode_presence,
    encode_stored,
)
from calibration.contract.readings import GapPack, ReadingPack
from calibration.contract.senml import encode_gap, encode_readings
from host.cli import main
from host.data_folder import DataFolder
from host.ingest import _CAME_UP, Ingest, _Message
from host.live import Live
from host.open_run_marks import OpenRunMarks
from host.reading_time import TIME_UNKNOWN, stored_reading_time
from host.store import Store, open_store
from host.store.packs import Arrival

BOOT, LATER = "00000001-0a0b0c0d", "00000002-0a0b0c0d"
MakePack = Callable[..., ReadingPack]


class Wire:
    """Keeps what the desk publishes."""

    is_up = True

    def __init__(self) -> None:
        self.said: list[tuple[str, bytes]] = []

    def publish(self, topic_text: str, payload: bytes, *, retain: bool = False) -> bool:
        self.said.append((topic_text, payload))
        return True


class Desk:
    """An ingest with no broker: what it takes is handed to it."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.live = Live.from_store(store)
        self.ingest = Ingest(store, self.live)
        self.wire = Wire()
        self.ingest._wire = self.wire  # type: ignore[assignment]
        self.ingest._look_for_stations()

    def hear(self, kind: str, payload: bytes, *, retained: bool = False) -> None:
        self.ingest._work_off([_Message("bench-1", kind, payload, retained, 1.8e9)])

    def said(self) -> list[Stored]:
        return [decode_stored(payload) for _, payload in self.wire.said]

    def words(self) -> str:
        station = self.live.station("bench-1")
        assert station is not None
        return " ".join(station.trouble)


@pytest.fixture
def desk(store: Store) -> Desk:
    return Desk(store)


def _presence(boot: str = BOOT, **changes: Any) -> bytes:
    usual: dict[str, Any] = {
        "state": "up", "rig": "rig-a", "boot": boot, "connect": 1, "holds": {}, "speed": 1.0,
        "simulated": True, "synchronised": False, "version": "0",
    }  # fmt: skip
    return encode_presence(Presence(**{**usual, **changes}))


def _other(store: str = "store-x", **changes: Any) -> bytes:
    return encode_stored(Stored(**{"store": store, "epoch": 1, "n": 5, "boots": {BOOT: 3}, **changes}))


def test_a_desk_does_not_write_where_another_one_speaks_and_says_so(desk: Desk) -> None:
    desk.hear("stored", _other(), retained=True)
    desk.hear("presence", _presence())
    assert desk.said() == []
    assert "Another desk (store store-x)" in desk.words()


def test_the_rig_itself_decides_which_desk_is_its_own(desk: Desk) -> None:
    own = desk.store.identity.store
    desk.hear("stored", _other(), retained=True)
    desk.hear("presence", _presence(obeys=Obeys(store=own, epoch=0, n=0)))
    assert [stored.store for stored in desk.said()] == [own]
    assert desk.words() == ""
    desk.hear("presence", _presence(connect=2, obeys=Obeys(store="store-x", epoch=1, n=9)))
    assert len(desk.said()) == 1
    assert "ohmbath station join bench-1 --join-file" in desk.words()


def test_a_desk_takes_the_place_of_one_that_is_gone_for_good(desk: Desk) -> None:
    desk.hear("stored", _other(), retained=True)
    desk.store.stations.replace_store("bench-1", "store-x")
    desk.ingest._look_for_stations()
    desk.hear("presence", _presence())
    assert len(desk.said()) == 1
    assert desk.words() == ""


def test_packs_of_another_rig_are_kept_aside_and_do_not_count(desk: Desk, make_pack: MakePack) -> None:
    desk.hear("readings", encode_readings(make_pack(seq=1)))
    desk.hear("readings", encode_readings(make_pack(seq=2, rig="rig-b")))
    assert desk.store.watermark("bench-1", BOOT) == 1
    (aside,) = desk.store.aside.all("bench-1")
    assert "tied to rig rig-a" in aside.refusal.reason and not aside.refusal.accounts


def test_a_copied_card_is_said_and_neither_counts_until_joined_anew(desk: Desk, make_pack: MakePack) -> None:
    desk.hear("presence", _presence(BOOT))
    desk.hear("presence", _presence(LATER))
    desk.hear("readings", encode_readings(make_pack(seq=1)))
    assert desk.words() == "", "a rig that started anew is no copied card"
    desk.hear("presence", _presence(BOOT, connect=2))  # the older one is up after the newer
    assert "copied card" in desk.words()
    for boot in (BOOT, LATER):
        desk.hear("readings", encode_readings(make_pack(seq=2, boot=boot)))
    assert desk.store.watermark("bench-1", BOOT) == 1
    assert desk.store.watermark("bench-1", LATER) == 0
    desk.store.stations.join_anew("bench-1")
    desk.ingest._look_for_stations()
    desk.hear("readings", encode_readings(make_pack(seq=2)))
    assert desk.store.watermark("bench-1", BOOT) == 2
    assert "copied card" not in desk.words()


def test_two_boots_of_one_number_are_a_copied_card(desk: Desk) -> None:
    desk.hear("presence", _presence(BOOT))
    desk.hear("presence", _presence("00000001-ffffffff"))
    assert "copied card" in desk.words()


def test_the_farewell_of_an_older_boot_is_no_copied_card(desk: Desk) -> None:
    desk.hear("presence", _presence(LATER))
    desk.hear("presence", _presence(BOOT, state="gone"))
    desk.hear("presence", _presence(BOOT), retained=True)
    assert desk.words() == ""


@pytest.mark.parametrize("by", ["the retained word", "the rig, by its count", "the rig, by its watermark"])
def test_a_store_that_was_copied_back_by_hand_begins_a_new_epoch_and_says_so(desk: Desk, by: str) -> None:
    identity = desk.store.identity
    before = identity.epoch
    if by == "the retained word":
        desk.hear("stored", _other(identity.store, epoch=before, n=0), retained=True)
    else:
        n = 10**9 if by.endswith("count") else 0
        boots = {} if by.endswith("count") else {BOOT: 3}
        obeys = Obeys(store=identity.store, epoch=before, n=n, boots=boots)
        desk.hear("presence", _presence(obeys=obeys))
    assert identity.epoch == before + 1
    assert "older copy of itself" in desk.words()
    desk.ingest._work_off([_CAME_UP])
    assert desk.said()[-1].epoch == before + 1


def test_a_word_of_an_older_epoch_changes_nothing(desk: Desk) -> None:
    identity = desk.store.identity
    identity.raise_epoch(6)
    desk.hear("stored", _other(identity.store, epoch=6, n=10**9, boots={BOOT: 99}), retained=True)
    assert identity.epoch == 7
    assert desk.words() == ""


def test_the_epoch_outlives_the_desk(tmp_path: Path) -> None:
    store = open_store(DataFolder(tmp_path / "desk"))
    assert store.identity.raise_epoch(4) == 5
    store.close()
    store = open_store(DataFolder(tmp_path / "desk"))
    assert store.identity.epoch == 5
    store.close()


def test_a_gap_counts_and_a_reading_that_also_came_wins(desk: Desk, make_pack: MakePack) -> None:
    gap = GapPack(station="bench-1", rig="rig-a", boot=BOOT, first=1, last=3, reason="thinned")
    desk.hear("readings", encode_readings(make_pack(seq=2)))
    desk.hear("readings", encode_gap(gap))
    assert desk.store.watermark("bench-1", BOOT) == 3
    assert [pack.seq for pack in desk.store.readings("bench-1", BOOT, 1, 3)] == [2]
    assert desk.store.packs.gaps("bench-1", BOOT) == [gap]


def test_utc_of_an_unsynchronised_pass_is_told_by_its_boot_s_first_synchronised_one(
    desk: Desk, make_pack: MakePack
) -> None:
    packs = [
        make_pack(seq=1, rig_time_s=10.0),
        make_pack(seq=2, rig_time_s=20.0, utc_s=1.8e9),
        make_pack(seq=3, rig_time_s=30.0, utc_s=1.8e9 + 99.0),
        make_pack(seq=4, rig_time_s=40.0),
        make_pack(seq=1, boot=LATER),
    ]
    for pack in packs:
        desk.hear("readings", encode_readings(pack))
    times = [stored_reading_time(desk.store, pack) for pack in packs]
    assert [time.utc_s for time in times] == [1.8e9 - 10, 1.8e9, 1.8e9 + 99, 1.8e9 + 20, None]
    assert [time.inferred for time in times] == [True, False, False, True, False]
    assert times[0].words(UTC) == "2027-01-15 07:59:50 UTC (inferred)"
    assert times[4].words(UTC) == TIME_UNKNOWN


def test_the_desk_says_from_where_a_rig_must_keep_its_readings(store: Store, make_pack: MakePack) -> None:
    now_s = [0.0]
    marks = OpenRunMarks(store, wall_s=lambda: now_s[0])
    arrivals = [
        Arrival(station="bench-1", payload=encode_readings(make_pack(seq=seq)), received_utc_s=1.8e9)
        for seq in (1, 2)
    ]
    store.packs.take(arrivals)
    assert marks("bench-1") is None
    run = store.runs.create(station="bench-1", kind="sender_check", settings={})
    now_s[0] = 2.0
    assert marks("bench-1") == (BOOT, 3)
    store.packs.take(
        [Arrival(station="bench-1", payload=encode_readings(make_pack(seq=3)), received_utc_s=1.8e9)]
    )
    now_s[0] = 4.0
    assert marks("bench-1") == (BOOT, 3), "it stays where the run began"
    store.runs.append(
        run, "box_read", {"readings": {"station": "bench-1", "boot": BOOT, "from": 2, "to": 3}}, after=0
    )
    assert OpenRunMarks(store)("bench-1") == (BOOT, 2), "a desk started anew finds it in the run's events"
    store.runs.end(run)
    now_s[0] = 6.0
    assert marks("bench-1") is None


def test_a_joining_file_ties_a_rig_to_this_store(tmp_path: Path) -> None:
    ca = tmp_path / "ca.crt"
    ca.write_text("-----BEGIN CERTIFICATE-----\n")
    path, data = tmp_path / "bench-7.toml", tmp_path / "desk"
    arguments = ["station", "add", "bench-7", "--data", str(data), "--join-file", str(path)]
    arguments += ["--address", "desk.local", "--broker-ca", str(ca)]
    done = CliRunner().invoke(main, arguments)
    assert done.exit_code == 0, done.output
    assert path.stat().st_mode & 0o077 == 0
    join = decode_join_file(path.read_text("utf-8"))
    store = open_store(DataFolder(data))
    assert join.store == store.identity.store
    store.close()
    assert (join.station, join.host, join.port, join.username) == ("bench-7", "desk.local", 8883, "bench-7")
    assert join.ca_pem == ca.read_text()
    assert join.password is not None and join.password in done.output
    again = CliRunner().invoke(
        main, ["station", "join", "bench-7", "--data", str(data), "--join-file", str(path)]
    )
    assert again.exit_code == 2
    assert "name a new file" in again.stderr


def test_adding_a_station_writes_one_file_for_its_rig_also_where_no_name_is_given(tmp_path: Path) -> None:
    data = tmp_path / "desk"
    arguments = ["station", "add", "bench-8", "--data", str(data)]
    said = CliRunner().invoke(main, arguments)
    assert said.exit_code == 0, said.output
    path = data / "bench-8-join.toml"
    join = decode_join_file(path.read_text("utf-8"))
    assert (join.station, join.username, bool(join.password)) == ("bench-8", "bench-8", True)
    assert path.stat().st_mode & 0o077 == 0
    assert encode_join_file(join) == path.read_text("utf-8")
