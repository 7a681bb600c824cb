"""What is sent next: oldest boot first, in order, within the window, and again where the desk is silent."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from rig.outbox import BootState
from rig.send_window import FIRST_PATIENCE_S, LONGEST_PATIENCE_S, Batch, SendWindow

A, B = "00000001-aaaaaaaa", "00000002-bbbbbbbb"


def _state(*, last: int, watermark: int = 0) -> BootState:
    return BootState(first_held=1, last=last, watermark=watermark, epoch=0)


def _send_all(
    window: SendWindow, boots: dict[str, BootState], *, size: int, wall_s: float = 0.0
) -> list[Batch]:
    batches = window.due(boots, window=size)
    for batch in batches:
        window.sent(batch, wall_s=wall_s)
    return batches


def test_a_backlog_goes_out_oldest_boot_first_and_no_further_than_the_window() -> None:
    window = SendWindow()
    boots = {A: _state(last=5, watermark=2), B: _state(last=400)}
    assert _send_all(window, boots, size=10) == [
        Batch(boot=A, first=3, last=5),
        Batch(boot=B, first=1, last=7),
    ]
    assert _send_all(window, boots, size=10) == []
    boots[A] = _state(last=5, watermark=5)
    assert _send_all(window, boots, size=10) == [Batch(boot=B, first=8, last=10)]


def test_a_newer_boot_waits_while_an_older_one_fills_the_window() -> None:
    window = SendWindow()
    boots = {A: _state(last=50), B: _state(last=50)}
    assert _send_all(window, boots, size=20) == [Batch(boot=A, first=1, last=20)]


def test_after_a_new_connection_everything_beyond_the_watermark_goes_out_again() -> None:
    window = SendWindow()
    boots = {A: _state(last=8, watermark=3)}
    _send_all(window, boots, size=200)
    window.restart(wall_s=1.0)
    assert _send_all(window, boots, size=200) == [Batch(boot=A, first=4, last=8)]


def test_a_silent_desk_is_sent_everything_again_each_time_later_up_to_a_minute() -> None:
    window = SendWindow()
    boots = {A: _state(last=3)}
    window.lose_patience(boots, wall_s=0.0)
    _send_all(window, boots, size=200)
    resends_s = []
    for wall_s in range(1, 400):
        if window.lose_patience(boots, wall_s=float(wall_s)):
            resends_s.append(wall_s)
            assert _send_all(window, boots, size=200, wall_s=float(wall_s)) == [
                Batch(boot=A, first=1, last=3)
            ]
    gaps_s = [later - earlier for earlier, later in zip([0, *resends_s], resends_s, strict=False)]
    assert gaps_s[:5] == [5, 10, 20, 40, 60]
    assert set(gaps_s[5:]) == {60}
    assert (FIRST_PATIENCE_S, LONGEST_PATIENCE_S) == (5.0, 60.0)


def test_progress_makes_the_rig_patient_again() -> None:
    window = SendWindow()
    boots = {A: _state(last=9)}
    window.lose_patience(boots, wall_s=0.0)
    _send_all(window, boots, size=200)
    assert window.lose_patience(boots, wall_s=5.0)
    _send_all(window, boots, size=200, wall_s=5.0)
    boots[A] = _state(last=9, watermark=2)
    assert not window.lose_patience(boots, wall_s=14.0)
    assert not window.lose_patience(boots, wall_s=18.0)
    assert window.lose_patience(boots, wall_s=19.0)


def test_a_rig_with_nothing_under_way_loses_no_patience() -> None:
    window = SendWindow()
    boots = {A: _state(last=3, watermark=3)}
    assert not any(window.lose_patience(boots, wall_s=float(wall_s)) for wall_s in range(100))
    boots[A] = _state(last=4, watermark=3)
    _send_all(window, boots, size=200, wall_s=99.0)
    assert not window.lose_patience(boots, wall_s=103.0)
    assert window.lose_patience(boots, wall_s=104.0)


@given(
    steps=st.lists(
        st.tuples(st.sampled_from("akrls"), st.integers(0, 1), st.integers(0, 40)), min_size=1, max_size=60
    ),
    size=st.integers(1, 30),
)
def test_whatever_happens_each_message_goes_out_in_order_and_within_the_window(
    steps: list[tuple[str, int, int]], size: int
) -> None:
    window = SendWindow()
    boots = {A: _state(last=0), B: _state(last=0)}
    sent = dict.fromkeys(boots, 0)
    wall_s = 0.0
    for what, which, amount in steps:
        boot = (A, B)[which]
        state = boots[boot]
        wall_s += amount
        if what == "a":
            boots[boot] = replace(state, last=state.last + amount)
        elif what == "k":  # the desk can only have stored what was sent
            boots[boot] = replace(state, watermark=max(state.watermark, sent[boot] - amount % 5))
        elif what == "r":
            window.restart(wall_s=wall_s)
            sent = {each: boots[each].watermark for each in boots}
        elif what == "l" and window.lose_patience(boots, wall_s=wall_s):
            sent = {each: boots[each].watermark for each in boots}
        for batch in window.due(boots, window=size):
            assert batch.first == max(sent[batch.boot], boots[batch.boot].watermark) + 1
            assert batch.first <= batch.last <= boots[batch.boot].last
            sent[batch.boot] = batch.last
            window.sent(batch, wall_s=wall_s)
            if batch.boot == B:
                assert max(sent[A], boots[A].watermark) == boots[A].last
        assert sum(max(0, sent[each] - boots[each].watermark) for each in boots) <= size
        under_way = any(sent[each] > boots[each].watermark for each in boots)
        waits = any(boots[each].last > boots[each].watermark for each in boots)
        assert under_way or not waits  # never stuck with something to send and nothing under way
