"""The rig's end of the wire, against a real broker that is killed and started again."""

from collections.abc import Callable
from typing import Any

import pytest

from calibration.contract.orders import AnswerState, Order
from calibration.contract.presence import Stored, encode_stored
from calibration.contract.senml import decode_readings
from rig.trouble import OTHER_STORE

pytestmark = pytest.mark.broker

Until = Callable[..., None]
Make = Callable[..., Any]


def _order(works: Any, number: int = 1, **changes: Any) -> Order:
    return Order(
        **{
            "order": f"00000000-0000-4000-8000-{number:012d}",
            "store": "store-a",
            "boot": works.file.boot,
            "not_after_s": 1e6,
            "do": "set_decade",
            "fields": {"resistance_ohm": 4700},
            **changes,
        }
    )


def _kept_whole(works: Any, desk: Any) -> None:
    """Everything the desk has of this boot is every number once, with the rig's own bytes."""
    boot = works.file.boot
    mark = desk.marks[boot]
    assert [seq for each, seq in sorted(desk.packs) if each == boot][:mark] == list(range(1, mark + 1))
    for seq, payload in works.outbox.messages(boot, 1, mark):
        assert desk.packs[boot, seq] == payload
    assert desk.conflicts == 0


def test_what_is_sampled_is_stored_at_the_desk_every_number_once(
    mosquitto: Any, works: Any, make_desk: Make
) -> None:
    desk = make_desk(mosquitto.port)
    works.start_link(mosquitto.port)
    works.start_sampling()
    desk.wait_for(lambda: desk.marks.get(works.file.boot, 0) >= 300, "300 passes are stored")
    works.sampler.stop()
    _kept_whole(works, desk)
    first = decode_readings(desk.packs[works.file.boot, 1], station="station-1")
    assert (first.rig, first.rig_time_s) == (works.file.rig, 0.0)


def test_presence_says_who_the_rig_is_and_what_it_holds(
    mosquitto: Any, works: Any, make_desk: Make, until: Until
) -> None:
    for _ in range(3):
        works.sampler._take_pass()
    desk = make_desk(mosquitto.port)
    works.start_link(mosquitto.port)
    desk.wait_for(lambda: desk.presences != [], "a presence message came")
    presence = desk.presences[0]
    assert (presence.state, presence.rig, presence.boot) == ("up", works.file.rig, works.file.boot)
    assert presence.holds == {works.file.boot: (1, 3)}
    assert presence.simulated
    assert presence.synchronised
    assert presence.connect == 1
    until(lambda: works.outbox.behind() == 0, "what was held is stored")
    assert works.outbox.obeys.store == "store-a"


def test_a_rig_that_stops_says_that_it_is_gone(mosquitto: Any, make_works: Make, make_desk: Make) -> None:
    desk = make_desk(mosquitto.port)
    link = make_works().start_link(mosquitto.port)
    desk.wait_for(lambda: desk.presences != [], "a presence message came")
    link.close()
    desk.wait_for(lambda: desk.presences[-1].state == "gone", "the rig said that it is gone")
    assert desk.presences[-1].connect == 1


@pytest.mark.slow
def test_a_broker_killed_and_started_again_loses_nothing(
    mosquitto: Any, works: Any, make_desk: Make, until: Until
) -> None:
    desk = make_desk(mosquitto.port)
    works.start_link(mosquitto.port)
    works.start_sampling()
    boot = works.file.boot
    for _ in range(3):
        aim = desk.marks.get(boot, 0) + 60
        desk.wait_for(lambda aim=aim: desk.marks.get(boot, 0) >= aim, "readings are stored")
        mosquitto.kill()
        until(lambda: works.outbox.behind() >= 20, "the simulated clock stands still without a broker")
        mosquitto.start()
    aim = desk.marks[boot] + 60
    desk.wait_for(lambda: desk.marks[boot] >= aim, "readings are stored after the last kill")
    works.sampler.stop()
    _kept_whole(works, desk)
    assert max(presence.connect for presence in desk.presences) >= 4


@pytest.mark.slow
def test_on_metal_sampling_goes_on_without_a_broker_and_the_backlog_follows(
    mosquitto: Any, make_works: Make, make_desk: Make, until: Until
) -> None:
    works = make_works(simulated=False)
    mosquitto.kill()
    works.start_link(mosquitto.port)
    works.start_sampling()
    until(lambda: works.outbox.behind() >= 500, "the rig samples with no broker")
    works.sampler.stop()
    mosquitto.start()
    desk = make_desk(mosquitto.port)
    until(lambda: works.outbox.behind() == 0, "the backlog is stored")
    _kept_whole(works, desk)


def test_the_backlog_of_an_older_boot_goes_out_first(
    mosquitto: Any, make_works: Make, make_desk: Make
) -> None:
    works = make_works()
    older = works.file.boot
    for _ in range(15):
        works.sampler._take_pass()
    works.file.close()
    works = make_works()
    works.sampler._take_pass()
    desk = make_desk(mosquitto.port)
    works.start_link(mosquitto.port)
    desk.wait_for(lambda: desk.marks.get(works.file.boot) == 1, "the newer boot is stored")
    assert list(desk.packs) == [*((older, seq) for seq in range(1, 16)), (works.file.boot, 1)]


@pytest.mark.slow
def test_no_more_than_the_window_is_under_way_while_the_desk_stores_nothing(
    mosquitto: Any, make_works: Make, make_desk: Make, until: Until
) -> None:
    works = make_works(simulated=False)
    for _ in range(260):
        works.sampler._take_pass()
    desk = make_desk(mosquitto.port)
    desk.silent = True
    works.start_link(mosquitto.port)
    desk.wait_for(lambda: len(desk.packs) == 200, "a window of readings came")
    works.sampler._take_pass()  # rings the bell: a rig that sends too much would do so now
    works.sampler._take_pass()
    desk.wait_for(lambda: len(desk.presences) >= 2, "the rig went on to its heartbeat")
    assert len(desk.packs) == 200
    desk.silent = False
    desk.say_stored()
    until(lambda: works.outbox.behind() == 0, "the rest is stored")
    assert len(desk.packs) == 262


@pytest.mark.slow
def test_a_desk_that_comes_after_the_rig_is_sent_at_once_what_it_missed(
    mosquitto: Any, works: Any, make_desk: Make, until: Until
) -> None:
    listener = make_desk(mosquitto.port, store="nobody")
    listener.silent = True
    works.start_link(mosquitto.port)
    works.start_sampling()
    listener.wait_for(lambda: len(listener.packs) == 20, "the rig sent what it may, to nobody")
    desk = make_desk(mosquitto.port)
    desk.wait_for(lambda: desk.marks.get(works.file.boot, 0) >= 100, "the desk caught up")
    works.sampler.stop()
    _kept_whole(works, desk)


def test_an_order_from_the_desk_is_carried_out_once_and_answered(
    mosquitto: Any, works: Any, make_desk: Make, until: Until
) -> None:
    desk = make_desk(mosquitto.port)
    works.start_link(mosquitto.port)
    works.start_sampling()
    until(lambda: works.outbox.obeys is not None, "the rig follows the desk")
    order = _order(works)
    for _ in range(3):
        desk.order(order)
    desk.wait_for(lambda: len(desk.answers) >= 1, "the order is answered")
    (answer,) = set(desk.answers)
    assert (answer.order, answer.state) == (order.order, AnswerState.DONE)
    desk.wait_for(lambda: (works.file.boot, answer.seq) in desk.packs, "the pass of the answer came")
    works.sampler.stop()
    packs = {pack.seq: pack.decade_ohm for pack in works.packs()}
    assert packs[answer.seq] == 4700.0
    assert packs.get(answer.seq - 1, 0.0) == 0.0


def test_an_order_that_the_broker_retained_is_refused(mosquitto: Any, works: Any, make_desk: Make) -> None:
    desk = make_desk(mosquitto.port)
    works.outbox.hear(Stored(store="store-a", epoch=0, n=0, boots={}), live=True)
    desk.order(_order(works), retain=True)
    desk.order(_order(works, 2), retain=True)  # the one that stays
    desk.say_raw("answers", b'{"contract":1,"order":"x","state":"done","reason":null,"seq":1}')
    desk.wait_for(lambda: len(desk.answers) == 1, "the broker took everything before")
    works.start_link(mosquitto.port)
    works.start_sampling()
    desk.wait_for(lambda: len(desk.answers) == 2, "the retained order is answered")
    assert desk.answers[1].state is AnswerState.REFUSED
    assert "retained" in (desk.answers[1].reason or "")
    works.sampler.stop()
    assert works.bench.decade_ohm == 0.0


def test_another_store_is_not_obeyed_and_is_said(
    mosquitto: Any, works: Any, make_desk: Make, until: Until
) -> None:
    desk = make_desk(mosquitto.port)
    works.start_link(mosquitto.port)
    until(lambda: works.outbox.obeys is not None, "the rig follows the first desk")
    other = Stored(store="store-b", epoch=9, n=9, boots={works.file.boot: 0})
    desk.say_raw("stored", encode_stored(other))
    desk.wait_for(lambda: desk.presences[-1].trouble == (OTHER_STORE,), "the rig says so in its presence")
    desk.order(_order(works, store="store-b"))
    desk.wait_for(lambda: desk.answers != [], "the other store's order is answered")
    assert desk.answers[0].state is AnswerState.REFUSED
    assert works.outbox.obeys.store == "store-a"


def test_garbage_on_the_rig_s_topics_stops_nothing(
    mosquitto: Any, works: Any, make_desk: Make, until: Until
) -> None:
    desk = make_desk(mosquitto.port)
    works.start_link(mosquitto.port)
    works.start_sampling()
    until(lambda: works.outbox.obeys is not None, "the rig follows the desk")
    for payload in (b"", b"\xff\xfe", b"[]", b'{"contract":1}', b"[" * 5000, b'{"contract":1,"boots":[]}'):
        desk.say_raw("stored", payload)
        desk.say_raw("orders", payload)
    desk.order(_order(works))
    desk.wait_for(lambda: len(desk.answers) == 1, "an order after the garbage is answered")
    aim = desk.marks[works.file.boot] + 40
    desk.wait_for(lambda: desk.marks[works.file.boot] >= aim, "readings go on")


def test_a_restored_desk_is_filled_again_from_what_the_rig_still_holds(
    mosquitto: Any, works: Any, make_desk: Make
) -> None:
    desk = make_desk(mosquitto.port)
    works.start_link(mosquitto.port)
    works.start_sampling()
    boot = works.file.boot
    desk.wait_for(lambda: desk.marks.get(boot, 0) >= 120, "120 passes are stored")
    works.sampler.stop()
    works.threads[0].join()
    last = works.outbox.boots()[boot].last
    desk.wait_for(lambda: desk.marks[boot] == last, "all of them are stored")
    with desk._changed:  # the backup is of a time when the desk had 50
        desk.packs = {key: payload for key, payload in desk.packs.items() if key[1] <= 50}
        desk.marks[boot] = 50
        desk.epoch += 1
        desk.n = 0
    desk.say_stored()
    desk.wait_for(lambda: desk.marks[boot] == last, "the desk has them all again")
    _kept_whole(works, desk)
