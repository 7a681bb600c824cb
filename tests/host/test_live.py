import threading
from collections.abc import Callable

from calibration.contract.presence import Presence
from calibration.contract.readings import ReadingPack
from calibration.contract.senml import encode_readings
from host.live import RING_LENGTH, Live, StationState
from host.store import Store
from host.store.packs import Arrival

BOOT = "00000001-0a0b0c0d"
NEXT_BOOT = "00000002-00000000"

MakePack = Callable[..., ReadingPack]


class WallClock:
    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


def presence(state: str = "up", boot: str = BOOT, connect: int = 1, **changes: object) -> Presence:
    usual: dict[str, object] = {
        "rig": "rig-a",
        "holds": {},
        "speed": 1.0,
        "simulated": True,
        "synchronised": False,
        "version": "0",
    }
    return Presence(state=state, boot=boot, connect=connect, **{**usual, **changes})  # type: ignore[arg-type]


def test_a_follower_sees_each_reading_once(make_pack: MakePack) -> None:
    live = Live()
    live.add([make_pack(seq=1), make_pack(seq=2)])
    packs, cursor = live.since("bench-1")
    assert [pack.seq for pack in packs] == [1, 2]
    live.add([make_pack("bench-2", 1)])
    live.add([make_pack(seq=3)])
    packs, cursor = live.since("bench-1", cursor)
    assert [pack.seq for pack in packs] == [3]
    assert live.since("bench-1", cursor)[0] == []
    assert live.since("bench-unknown") == ([], cursor)


def test_the_ring_keeps_the_newest_ten_minutes(make_pack: MakePack) -> None:
    live = Live()
    live.add(make_pack(seq=seq) for seq in range(1, RING_LENGTH + 101))
    packs, _ = live.since("bench-1")
    assert [packs[0].seq, packs[-1].seq, len(packs)] == [101, RING_LENGTH + 100, RING_LENGTH]


def test_the_latest_reading_is_by_boot_and_number_not_by_arrival(make_pack: MakePack) -> None:
    live = Live()
    live.add([make_pack(seq=1, boot=NEXT_BOOT), make_pack(seq=900), make_pack(seq=901)])
    latest = live.latest("bench-1")
    assert latest is not None
    assert latest.boot == NEXT_BOOT


def test_a_waiting_page_wakes_when_a_reading_comes(make_pack: MakePack) -> None:
    live = Live()
    cursor = live.wait(0, 0.0)
    woken: list[int] = []
    page = threading.Thread(target=lambda: woken.append(live.wait(cursor, 20.0)))
    page.start()
    live.add([make_pack(seq=1)])
    page.join()
    assert woken[0] > cursor
    assert live.wait(woken[0], 0.01) == woken[0]


def test_a_station_is_silent_ten_seconds_after_its_last_word() -> None:
    clock = WallClock()
    live = Live(wall_s=clock)
    live.take_presence("bench-1", presence())
    (station,) = live.stations()
    assert (station.state, station.silent_for_s) == (StationState.SILENT, None)  # only a retained copy so far
    live.hear("bench-1")
    clock.now_s += 9.9
    assert live.stations()[0].state is StationState.LIVE
    clock.now_s += 0.2
    assert live.stations()[0].state is StationState.SILENT
    assert live.stations()[0].words == "silent for 10 s"


def test_a_last_will_makes_a_station_gone_until_the_rig_is_back() -> None:
    live = Live()
    live.take_presence("bench-1", presence(connect=3))
    live.hear("bench-1")
    assert live.take_presence("bench-1", presence("gone", connect=3))
    assert live.stations()[0].state is StationState.GONE
    assert live.take_presence("bench-1", presence(connect=4))
    assert live.stations()[0].state is StationState.LIVE


def test_a_will_of_an_older_connection_or_boot_is_ignored() -> None:
    live = Live()
    live.hear("bench-1")
    live.take_presence("bench-1", presence(boot=NEXT_BOOT, connect=1))
    assert not live.take_presence("bench-1", presence("gone", boot=BOOT, connect=9))
    live.take_presence("bench-1", presence(boot=NEXT_BOOT, connect=2))
    assert not live.take_presence("bench-1", presence("gone", boot=NEXT_BOOT, connect=1))
    assert live.stations()[0].state is StationState.LIVE


def test_a_backlog_is_said_as_catching_up_and_shrinks_with_the_watermark() -> None:
    live = Live()
    live.hear("bench-1")
    live.take_presence("bench-1", presence(holds={BOOT: (1, 12_000), NEXT_BOOT: (1, 340)}))
    assert live.stations()[0].words == "live, catching up, 12,340 to go"
    live.raise_watermarks("bench-1", {BOOT: 12_000})
    assert live.stations()[0].words == "live, catching up, 340 to go"
    live.raise_watermarks("bench-1", {NEXT_BOOT: 335})
    assert (live.stations()[0].words, live.stations()[0].to_go) == ("live", 5)


def test_what_the_rig_no_longer_holds_is_not_to_go() -> None:
    live = Live()
    live.take_presence("bench-1", presence(holds={BOOT: (900, 1000)}))
    assert live.stations()[0].to_go == 101


def test_trouble_of_rig_and_desk_stands_side_by_side() -> None:
    live = Live()
    live.take_presence("bench-1", presence(trouble=("the outbox is full",)))
    live.note_trouble("bench-1", "Another rig speaks as this station.")
    live.trouble = "The store cannot be written."
    assert live.stations()[0].trouble == (
        "the outbox is full",
        "Another rig speaks as this station.",
        "The store cannot be written.",
    )
    live.note_trouble("bench-1", None)
    live.trouble = None
    assert live.stations()[0].trouble == ("the outbox is full",)


def test_a_started_desk_shows_what_the_store_knows(store: Store, make_pack: MakePack) -> None:
    packs = [make_pack(seq=seq) for seq in range(1, 6)] + [make_pack(seq=1, boot=NEXT_BOOT)]
    store.packs.take(
        [Arrival(station="bench-1", payload=encode_readings(pack), received_utc_s=0.0) for pack in packs]
    )
    live = Live.from_store(store)
    assert live.since("bench-1")[0] == packs
    assert live.latest("bench-1") == packs[-1]
    assert live.stations()[0].words == "silent: no word from its rig since this desk was started"


def test_a_station_that_speaks_and_sends_no_reading_has_an_old_newest_one(make_pack: MakePack) -> None:
    clock = WallClock()
    live = Live(wall_s=clock)
    live.hear("bench-1")
    assert live.stations()[0].newest_age_s is None
    live.add([make_pack(seq=1)])
    clock.now_s += 30.0
    live.hear("bench-1")
    (station,) = live.stations()
    assert (station.state, station.silent_for_s, station.newest_age_s) == (StationState.LIVE, 0.0, 30.0)
