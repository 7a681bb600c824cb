import json

import pytest

from calibration.contract.presence import decode_stored
from host.store import Store
from host.stored_messages import StoredMessages

BOOT = "00000001-0a0b0c0d"
OLDER = "00000000-ffffffff"


class Desk:
    """Stored messages with a wall clock turned by hand."""

    def __init__(self, store: Store) -> None:
        self.now_s = 100.0
        self.waiting = False
        self.messages = StoredMessages(store.identity, lambda station: (BOOT, 17), wall_s=lambda: self.now_s)
        self.messages.add_station("bench-1", {OLDER: 40, BOOT: 100})

    def due(self) -> bool:
        return self.messages.due(lambda station: self.waiting) == ["bench-1"]

    def say(self) -> dict[str, int]:
        _, payload = self.messages.message("bench-1")
        self.messages.said("bench-1")
        return dict(decode_stored(payload).boots)


@pytest.fixture
def desk(store: Store) -> Desk:
    desk = Desk(store)
    desk.say()
    return desk


def test_a_rise_is_said_at_once_when_nothing_more_waits(desk: Desk) -> None:
    assert not desk.due()
    desk.messages.rise("bench-1", BOOT, 101)
    assert desk.due()
    assert desk.say() == {BOOT: 101}
    assert not desk.due()


def test_while_more_waits_a_rise_is_said_after_a_quarter_of_the_window(desk: Desk) -> None:
    desk.waiting = True
    desk.messages.rise("bench-1", BOOT, 149)
    assert not desk.due()
    desk.messages.rise("bench-1", BOOT, 150)
    assert desk.due()


def test_while_more_waits_a_rise_is_said_after_250_ms(desk: Desk) -> None:
    desk.waiting = True
    desk.messages.rise("bench-1", BOOT, 101)
    desk.now_s += 0.24
    assert not desk.due()
    assert desk.messages.next_due_in_s() == pytest.approx(0.01)
    desk.now_s += 0.02
    assert desk.due()


def test_silence_is_broken_by_a_heartbeat_every_ten_seconds(desk: Desk) -> None:
    desk.now_s += 9.9
    assert not desk.due()
    assert desk.messages.next_due_in_s() == pytest.approx(0.1)
    desk.now_s += 0.2
    assert desk.due()


def test_presence_is_answered_with_all_boots_that_the_rig_holds(desk: Desk) -> None:
    desk.messages.answer_presence("bench-1", {OLDER, BOOT, "00000002-00000000"})
    assert desk.due()
    assert desk.say() == {OLDER: 40, BOOT: 100, "00000002-00000000": 0}


def test_after_a_reconnect_everything_is_said_again(desk: Desk) -> None:
    desk.messages.say_all_again()
    assert desk.due()


def test_each_message_counts_up_and_names_the_store_and_the_open_run(desk: Desk, store: Store) -> None:
    first, second = (json.loads(desk.messages.message("bench-1")[1]) for _ in range(2))
    assert second["n"] == first["n"] + 1
    assert (first["store"], first["epoch"], first["window"]) == (store.identity.store, 1, 200)
    assert first["keep"] == [BOOT, 17]


def test_a_card_full_of_boots_still_fits_on_the_wire(desk: Desk) -> None:
    boots = {f"{number:08d}-00000000" for number in range(5000)}
    desk.messages.answer_presence("bench-1", boots)
    _, payload = desk.messages.message("bench-1")
    assert len(payload) < 64 * 1024
    assert max(boots) in decode_stored(payload).boots
