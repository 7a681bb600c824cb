"""Orders take effect once, are answered for ever, and are refused in words."""

import uuid
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from calibration.contract.orders import WRITE_CONFIRMATION, Action, Answer, AnswerState, Order, encode_order
from calibration.contract.presence import Stored
from calibration.contract.readings import Insertion
from rig.order_actions import ACTIONS
from rig.order_log import INTERRUPTED, Open, OrderLog

STORE = "store-a"


def _adopt(works: Any) -> None:
    obeys = works.outbox.obeys
    n = 1 if obeys is None else obeys.n + 1
    works.outbox.hear(Stored(store=STORE, epoch=0, n=n, boots={}), live=True)


def _order(works: Any, do: str = "set_decade", **changes: Any) -> Order:
    fields = changes.pop("fields", {"resistance_ohm": 4700})
    order = Order(
        order=str(uuid.uuid4()), store=STORE, boot=works.file.boot, not_after_s=60.0, do=do, fields=fields
    )
    return replace(order, **changes)


def _give(works: Any, order: Order, *, retained: bool = False) -> None:
    works.orders.receive(encode_order(order), retained=retained)


def _single_answer(works: Any) -> Answer:
    (answer,) = works.orders.take_answers()
    return answer


def _pass(works: Any) -> int:
    seq = works.sampler._take_pass()
    assert seq is not None
    return seq


def test_an_order_is_answered_with_the_first_pass_taken_after_its_effect(works: Any) -> None:
    _adopt(works)
    _pass(works)
    order = _order(works)
    _give(works, order)
    works.orders.carry_out(works.bench)
    assert works.bench.decade_ohm == 4700
    assert works.orders.take_answers() == []  # not before a pass shows it
    seq = _pass(works)
    assert _single_answer(works) == Answer(order=order.order, state=AnswerState.DONE, seq=seq)
    assert [pack.decade_ohm for pack in works.packs()] == [0.0, 4700.0]


@pytest.mark.parametrize(
    ("do", "fields", "effect"),
    [
        ("set_decade", {"resistance_ohm": 120.0}, ("decade_ohm", 120.0)),
        ("set_insertion", {"insertion": "sender"}, ("insertion", Insertion.SENDER)),
        ("set_range", {"range_ohm": 68}, ("range_ohm", 68.0)),
        ("set_range", {"range_ohm": None}, ("range_ohm", 750.0)),
        ("hands", {"lift": "sender"}, ("hands_seen", [{"lift": "sender"}])),
        ("set_range", {"range_ohm": 10200, "channel": "probe"}, ("deeds", [("set_probe_range", 10200.0)])),
        ("burst", {"duration_s": 0.5}, ("deeds", [("burst", 0.5)])),
        ("identify", {}, ("deeds", [("identify", 10.0)])),
        ("set_duty", {"duty": 1.0}, ("deeds", [("set_duty", 1.0)])),
        ("restart_sampling", {}, ("times_safe", 1)),
        ("write_emissivity", {"emissivity": 0.9, "confirm": WRITE_CONFIRMATION}, ("emissivity", 0.9)),
    ],
)
def test_every_action_of_the_contract_has_its_effect(
    works: Any, do: str, fields: dict[str, Any], effect: tuple[str, Any]
) -> None:
    _adopt(works)
    _give(works, _order(works, do, fields=fields))
    works.orders.carry_out(works.bench)
    _pass(works)
    assert getattr(works.bench, effect[0]) == effect[1]
    assert _single_answer(works).state is AnswerState.DONE


def test_a_sensor_s_memory_is_read_into_the_answer(works: Any) -> None:
    _adopt(works)
    _give(works, _order(works, "read_emissivity", fields={}))
    works.orders.carry_out(works.bench)
    _pass(works)
    answer = _single_answer(works)
    assert (answer.state, answer.value) == (AnswerState.DONE, 0.95)


@pytest.mark.parametrize(
    ("do", "fields", "words"),
    [
        ("write_emissivity", {"emissivity": 0.9}, "confirm"),
        ("write_emissivity", {"emissivity": 0.9, "confirm": True}, "confirm"),
        ("write_emissivity", {"emissivity": 1.5, "confirm": WRITE_CONFIRMATION}, "0.1 to 1"),
        ("burst", {"duration_s": 2}, "0.1 to 1 s"),
        ("set_rate", {"passes_per_s": 5}, "Ask for 4, 2, 1"),
        ("set_rate", {"passes_per_s": 3}, "whole multiple"),
        ("set_rate", {"passes_per_s": -1}, "whole multiple"),
        ("set_duty", {"duty": 1.1}, "0 to 1"),
        ("set_range", {"range_ohm": 68, "channel": "witness"}, "sender or probe"),
    ],
)
def test_what_cannot_be_done_safely_is_refused_and_nothing_has_changed(
    works: Any, do: str, fields: dict[str, Any], words: str
) -> None:
    _adopt(works)
    _give(works, _order(works, do, fields=fields))
    works.orders.carry_out(works.bench)
    answer = _single_answer(works)
    assert answer.state is AnswerState.REFUSED
    assert words in (answer.reason or "")
    assert works.bench.deeds == []
    assert works.bench.emissivity == 0.95


def test_the_rate_is_changed_and_restarting_brings_the_usual_one_back(works: Any) -> None:
    _adopt(works)
    periods_s = []
    for do, fields in (("set_rate", {"passes_per_s": 0.5}), ("restart_sampling", {})):
        _give(works, _order(works, do, fields=fields))
        works.orders.carry_out(works.bench)
        _pass(works)
        periods_s.append(works.orders._pace.period_s)
    assert periods_s == [2.0, 0.25]


def test_orders_of_boots_long_past_are_forgotten_and_still_refused(make_works: Callable[..., Any]) -> None:
    works = make_works()
    _adopt(works)
    old = _order(works)
    _give(works, old)
    works.orders.carry_out(works.bench)
    _pass(works)
    for _ in range(4):
        works.file.close()
        works = make_works()
    assert works.orders._log.recall(old.order) is None
    _give(works, old)
    answer = _single_answer(works)
    assert answer.state is AnswerState.REFUSED
    assert "meant for boot" in (answer.reason or "")


def test_every_action_of_the_contract_is_known_here() -> None:
    assert set(ACTIONS) == set(Action)


def test_a_repeated_order_has_no_second_effect_and_its_answer_is_given_again(works: Any) -> None:
    _adopt(works)
    order = _order(works, "hands", fields={"lift": "sender"})
    for _ in range(3):
        _give(works, order)
    works.orders.carry_out(works.bench)
    _give(works, order)
    works.orders.carry_out(works.bench)
    _pass(works)
    first = _single_answer(works)
    _give(works, order)
    works.orders.carry_out(works.bench)
    assert _single_answer(works) == first
    assert works.bench.hands_seen == [{"lift": "sender"}]


@pytest.mark.parametrize(
    ("change", "retained", "words"),
    [
        ({"store": "store-b"}, False, "follows store store-a"),
        ({"boot": "00000009-00000000"}, False, "order it anew"),
        ({"not_after_s": -0.001}, False, "late"),
        ({"do": "whistle"}, False, "does not know how to whistle"),
        ({}, True, "retained"),
    ],
)
def test_an_order_that_is_not_for_now_and_here_is_refused_in_words(
    works: Any, change: dict[str, Any], retained: bool, words: str
) -> None:
    _adopt(works)
    order = _order(works, **change)
    _give(works, order, retained=retained)
    works.orders.carry_out(works.bench)
    answer = _single_answer(works)
    assert answer.state is AnswerState.REFUSED
    assert words in (answer.reason or "")
    assert works.bench.decade_ohm == 0


def test_a_refused_order_stays_refused_however_it_comes_again(works: Any) -> None:
    _adopt(works)
    order = _order(works)
    _give(works, order, retained=True)
    refused = _single_answer(works)
    _give(works, order)
    works.orders.carry_out(works.bench)
    assert _single_answer(works) == refused
    assert works.bench.decade_ohm == 0


@pytest.mark.parametrize(
    ("do", "fields"),
    [
        ("set_decade", {"resistance_ohm": 1e6}),
        ("set_decade", {"resistance_ohm": "much"}),
        ("set_decade", {}),
        ("set_insertion", {"insertion": "sideways"}),
        ("set_range", {}),
    ],
)
def test_what_the_bench_cannot_do_is_refused_with_its_words(
    works: Any, do: str, fields: dict[str, Any]
) -> None:
    _adopt(works)
    _give(works, _order(works, do, fields=fields))
    works.orders.carry_out(works.bench)
    answer = _single_answer(works)
    assert answer.state is AnswerState.REFUSED
    assert answer.reason
    assert works.bench.decade_ohm == 0


def test_an_order_that_grows_late_while_it_waits_is_refused(works: Any) -> None:
    _adopt(works)
    _give(works, _order(works, not_after_s=1.0))
    works.bench.clock.wait_until(1.001)
    works.orders.carry_out(works.bench)
    assert "late" in (_single_answer(works).reason or "")
    assert works.bench.decade_ohm == 0


def test_an_order_that_breaks_the_bench_is_failed_and_the_next_one_is_carried_out(works: Any) -> None:
    _adopt(works)

    def break_bus(_fields: Any) -> None:
        raise OSError("the bus does not answer")

    works.bench.hands = break_bus
    _give(works, _order(works, "hands"))
    _give(works, _order(works))
    works.orders.carry_out(works.bench)
    assert works.bench.decade_ohm == 4700
    failed = _single_answer(works)
    assert failed.state is AnswerState.FAILED
    assert "the bus does not answer" in (failed.reason or "")


def test_an_order_before_any_desk_was_heard_waits_for_its_repeat(works: Any) -> None:
    order = _order(works)
    _give(works, order)
    assert works.orders.take_answers() == []
    _adopt(works)
    _give(works, order)
    works.orders.carry_out(works.bench)
    _pass(works)
    assert _single_answer(works).state is AnswerState.DONE


def test_an_order_cut_off_by_a_kill_is_failed_at_the_next_start_and_not_carried_out(
    make_works: Callable[..., Any],
) -> None:
    works = make_works()
    _adopt(works)
    order = _order(works)
    _give(works, order)
    works.orders.carry_out(works.bench)  # accepted and in effect, but killed before the next pass
    assert OrderLog(works.file).recall(order.order) is Open.OPEN
    works.file.close()

    again = make_works()
    _give(again, order)
    again.orders.carry_out(again.bench)
    answer = _single_answer(again)
    assert answer == Answer(order=order.order, state=AnswerState.FAILED, reason=INTERRUPTED)
    assert again.bench.decade_ohm == 0


def test_an_answer_outlives_the_program(make_works: Callable[..., Any]) -> None:
    works = make_works()
    _adopt(works)
    order = _order(works)
    _give(works, order)
    works.orders.carry_out(works.bench)
    _pass(works)
    answer = _single_answer(works)
    works.file.close()

    again = make_works()
    _give(again, order)
    assert _single_answer(again) == answer


@given(st.binary(max_size=120))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_garbage_is_no_order(works: Any, payload: bytes) -> None:
    works.orders.receive(payload, retained=False)
    assert not works.orders.pending()
    assert works.orders.take_answers() == []


class _Killed(BaseException):  # noqa: N818 (no error: nothing may catch it)
    """A kill at one instant of an order's life."""


@given(
    kill_at=st.sampled_from(["accept", "effect", "answer", "never"]),
    repeats=st.integers(1, 4),
    restarts=st.integers(1, 2),
)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_an_order_has_at_most_one_effect_and_one_lasting_answer_wherever_the_rig_is_killed(
    make_works: Callable[..., Any], kill_at: str, repeats: int, restarts: int
) -> None:
    works = make_works()
    _adopt(works)
    order = _order(works, "hands", fields={"turn": 1})
    effects: list[Any] = []
    answers: set[Answer] = set()

    def killed() -> None:
        raise _Killed

    def act(fields: Any) -> None:
        effects.append(fields)
        if kill_at == "effect":
            killed()

    def live(rig: Any, *, fatal: bool) -> None:
        rig.bench.hands = act if fatal else effects.append
        log: OrderLog = rig.orders._log
        if fatal and kill_at == "accept":
            accept = log.accept
            log.accept = lambda order_id: (accept(order_id), killed())  # type: ignore[method-assign]
        if fatal and kill_at == "answer":
            log.answer = lambda answer: killed()  # type: ignore[method-assign]
        for _ in range(repeats):
            _give(rig, order)
            rig.orders.carry_out(rig.bench)
            rig.orders.pass_kept(rig.outbox.append(lambda seq: b"pass", kept_at_utc_s=0.0))
            answers.update(rig.orders.take_answers())

    try:
        live(works, fatal=True)
    except _Killed:
        answers.update(works.orders.take_answers())
    works.file.close()
    for _ in range(restarts):
        works = make_works()
        live(works, fatal=False)
        works.file.close()
    assert len(effects) <= 1
    assert len(answers) == 1
    (answer,) = answers
    if answer.state is AnswerState.DONE:
        assert len(effects) == 1
    if kill_at == "never":
        assert answer.state is AnswerState.DONE


def test_a_flood_of_orders_is_left_for_its_repeats(works: Any) -> None:
    _adopt(works)
    orders = [_order(works, "hands", fields={"n": n}) for n in range(40)]
    for order in orders:
        _give(works, order)
    works.orders.carry_out(works.bench)
    assert len(works.bench.hands_seen) == 32
    for order in orders:
        _give(works, order)
    works.orders.carry_out(works.bench)
    assert sorted(each["n"] for each in works.bench.hands_seen) == list(range(40))
