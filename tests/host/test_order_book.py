import json
import threading
import time
from collections.abc import Callable, Iterator

import pytest

from calibration.contract.orders import Action, Answer, AnswerState, decode_order, encode_answer
from host.order_book import REPEAT_S, OrderBook
from host.store import Store

BOOT = "00000001-0a0b0c0d"

Until = Callable[..., None]


class Post:
    """Takes what the order book publishes, and turns the wall clock by hand."""

    def __init__(self) -> None:
        self.sent: list[tuple[str, bytes]] = []
        self.now_s = 0.0

    def publish(self, topic: str, payload: bytes) -> bool:
        self.sent.append((topic, payload))
        return True

    def wall_s(self) -> float:
        return self.now_s


@pytest.fixture
def post() -> Post:
    return Post()


@pytest.fixture
def book(store: Store, post: Post) -> Iterator[OrderBook]:
    opened = OrderBook(store, post.publish, wall_s=post.wall_s)
    opened.start()
    yield opened
    opened.stop()


def send(book: OrderBook) -> str:
    return book.send("bench-1", BOOT, Action.SET_DECADE, {"resistance_ohm": 4700.0}, 7, 125.5)


def answer(order: str, state: AnswerState = AnswerState.DONE, **fields: object) -> bytes:
    return encode_answer(Answer(order=order, state=state, **fields))  # type: ignore[arg-type]


def turn_to(book: OrderBook, post: Post, now_s: float) -> None:
    post.now_s = now_s
    with book._changed:
        book._changed.notify_all()


def test_an_order_goes_to_its_station_with_everything_the_rig_checks(
    store: Store, book: OrderBook, post: Post
) -> None:
    order_id = send(book)
    ((topic, payload),) = post.sent
    order = decode_order(payload)
    assert topic == "ohmbath/1/bench-1/orders"
    assert (order.order, order.store, order.boot) == (order_id, store.identity.store, BOOT)
    assert (order.run, order.not_after_s, order.do) == ("7", 125.5, "set_decade")
    assert dict(order.fields) == {"resistance_ohm": 4700.0}
    assert book.answer(order_id) is None


def test_an_order_is_repeated_with_the_same_bytes_until_it_is_answered(
    book: OrderBook, post: Post, until: Until
) -> None:
    order_id = send(book)
    turn_to(book, post, REPEAT_S)
    until(lambda: len(post.sent) == 2, "the order is repeated")
    turn_to(book, post, 2 * REPEAT_S)
    until(lambda: len(post.sent) == 3, "the order is repeated again")
    assert len(set(post.sent)) == 1
    book.take("bench-1", answer(order_id, seq=41))
    assert book.wait(order_id, 0.0) == Answer(order=order_id, state=AnswerState.DONE, seq=41)
    assert book.open("bench-1") == []
    other = send(book)
    turn_to(book, post, 4 * REPEAT_S)
    until(lambda: len(post.sent) == 5, "the open order is repeated")
    assert {json.loads(payload)["order"] for _, payload in post.sent[3:]} == {other}


def test_a_refusal_comes_back_with_the_words_of_the_rig(book: OrderBook) -> None:
    order_id = send(book)
    book.take("bench-1", answer(order_id, AnswerState.REFUSED, reason="late"))
    got = book.answer(order_id)
    assert got is not None
    assert (got.state, got.reason, got.seq) == (AnswerState.REFUSED, "late", None)


def test_the_first_answer_stays(book: OrderBook) -> None:
    order_id = send(book)
    book.take("bench-1", answer(order_id, seq=41))
    book.take("bench-1", answer(order_id, AnswerState.FAILED, reason="second thoughts"))
    got = book.answer(order_id)
    assert got is not None
    assert got.state is AnswerState.DONE


def test_an_answer_from_another_station_answers_nothing(store: Store, book: OrderBook) -> None:
    store.stations.add("bench-2")
    order_id = send(book)
    book.take("bench-2", answer(order_id))
    assert book.answer(order_id) is None
    assert book.open("bench-1") == [order_id]


def test_a_withdrawn_order_is_not_repeated_but_its_late_answer_is_kept(
    store: Store, book: OrderBook, post: Post, until: Until
) -> None:
    withdrawn, other = send(book), send(book)
    book.withdraw(withdrawn)
    assert store.orders.state(withdrawn) == "withdrawn"
    until(lambda: len(post.sent) == 2, "the other order takes its turn")
    turn_to(book, post, REPEAT_S)
    until(lambda: len(post.sent) == 3, "the other order is repeated")
    assert [json.loads(payload)["order"] for _, payload in post.sent] == [withdrawn, other, other]
    book.take("bench-1", answer(withdrawn, seq=9))
    got = book.answer(withdrawn)
    assert got is not None
    assert got.seq == 9


def test_a_new_desk_withdraws_the_open_orders_of_the_one_before(store: Store, post: Post) -> None:
    before = OrderBook(store, post.publish)
    open_id, answered_id = send(before), send(before)
    before.take("bench-1", answer(answered_id))
    after = OrderBook(store, post.publish)
    assert after.withdrawn_at_start == 1
    assert store.orders.state(open_id) == "withdrawn"
    assert after.open("bench-1") == []
    got = after.answer(answered_id)
    assert got is not None
    assert got.state is AnswerState.DONE


@pytest.mark.parametrize("payload", [b"", b"done", b'{"contract":1}', b'{"contract":9,"order":"x"}'])
def test_what_is_no_answer_is_kept_aside(store: Store, book: OrderBook, payload: bytes) -> None:
    book.take("bench-1", payload)
    (aside,) = store.aside.all()
    assert (aside.payload, aside.refusal.kind) == (payload, "answers")


def test_a_later_order_waits_until_the_one_before_is_answered_whatever_was_lost(store: Store) -> None:
    sent: list[str] = []

    def lose_the_first(topic_text: str, payload: bytes) -> None:
        sent.append(decode_order(payload).do)

    book = OrderBook(store, lose_the_first)
    book.start()
    first = book.send("bench-1", BOOT, "set_decade", {"resistance_ohm": 1}, None, 60.0)
    book.send("bench-1", BOOT, "set_range", {"range_ohm": None}, None, 60.0)
    assert sent == ["set_decade"]
    book.take("bench-1", encode_answer(Answer(order=first, state=AnswerState.DONE, seq=1)))
    end_s = time.monotonic() + 20.0
    while "set_range" not in sent and time.monotonic() < end_s:
        threading.Event().wait(0.005)
    assert sent[-1] == "set_range"
    book.stop()
