"""An ohms check by itself as a log of events: replay, kills, and what cannot follow."""

from collections.abc import Sequence

import pytest

from calibration.contract.readings import Insertion, Quality, ReadingPack
from host.procedures.bench_orders import WantedBench
from host.procedures.bench_setup import box_plan
from host.procedures.event import Event
from host.procedures.ohms.box_setting import BoxSetting
from host.procedures.ohms.box_watch import BoxWatch
from host.procedures.ohms.ohms_check import Kind, OhmsCheckSettings, Phase, advance, state_of
from host.procedures.ohms.ohms_check_card import card_of
from host.procedures.step_card import AskKind

STARTED_AT = {"boot": "00000001-0000abcd", "seq": 0}


@pytest.fixture
def started(bench) -> list[Event]:
    """First events of a check on the box of the paper bench."""
    settings = OhmsCheckSettings(
        station="bench-1", operator="Ida", decade_box=bench.settings.decade_box, time_zone="Europe/Lisbon"
    )
    plan = box_plan(
        settings.decade_box,
        sender_ranges_ohm=settings.sender_ranges_ohm,
        probe_range_ohm=settings.probe_range_ohm,
    )
    payload = {"settings": settings.as_json(), "plan": [setting.as_json() for setting in plan]}
    return [Event(kind=Kind.STARTED, payload=payload), Event(kind=Kind.WARMED_UP, payload=STARTED_AT)]


def box_values(bench) -> list[ReadingPack]:
    """Ten readings of every setting of the plan."""
    plan = box_plan(
        bench.settings.decade_box,
        sender_ranges_ohm=bench.settings.sender_ranges_ohm,
        probe_range_ohm=bench.settings.probe_range_ohm,
    )
    for setting in plan:
        for _ in range(10):
            bench.read(
                insertion=setting.insertion,
                decade_ohm=float(setting.setting_ohm),
                range_ohm=setting.range_ohm if setting.insertion is Insertion.SENDER else 2700.0,
            )
    return bench.packs


def led(events: Sequence[Event], packs: Sequence[ReadingPack]) -> list[Event]:
    """Events that the readings lead to, from any state of the log, as the runner has it."""
    log, state, watch = list(events), state_of(events), BoxWatch()
    mark = state.look_from or ("", 0)
    for pack in packs:
        if (pack.boot, pack.seq) <= mark or state.phase is not Phase.READING:
            continue
        event = watch.feed(state, pack)
        for one in [event] if event else []:
            log.append(one)
            state = advance(state, one)
        if state.phase is Phase.READING and state.next_setting is None:
            log.append(Event(kind=Kind.OHMS_CHECKED, payload={"channels": []}))
            state = advance(state, log[-1])
    if state.phase is Phase.LEAVING:
        log.append(Event(kind=Kind.BOX_TAKEN_OUT))
    return log


def test_every_value_of_the_box_is_read_once_on_every_range(started, bench):
    state = state_of(led(started, box_values(bench)))
    assert state.phase is Phase.DONE and state.has_passed
    assert len(state.box_read) == len(state.plan) == 21
    assert len({(setting.insertion, setting.range_ohm) for setting in state.plan}) == 3
    assert state.started.operator == "Ida" and str(state.started.zone) == "Europe/Lisbon"


def test_a_desk_killed_after_any_event_goes_on_where_it_was(started, bench):
    packs = box_values(bench)
    whole = led(started, packs)
    for length in range(2, len(whole) + 1):
        again = led(whole[:length], packs)
        assert state_of(again) == state_of(whole)
        assert [str(one.kind) for one in again] == [str(one.kind) for one in whole]


def test_a_box_that_cannot_be_read_stops_the_check_and_names_the_setting(started, bench):
    first_ohm = float(state_of(started).plan[0].setting_ohm)
    packs = [
        bench.read(insertion=Insertion.SENDER, decade_ohm=first_ohm, quality=Quality.OPEN) for _ in range(50)
    ]
    state = state_of(led(started, packs))
    assert state.phase is Phase.STOPPED and not state.has_passed
    assert f"{state.plan[0].setting_ohm} Ω on the 2700 Ω range" in (state.reason or "")


def test_the_card_asks_for_a_warm_rig_then_only_for_patience(started, bench):
    waiting = state_of(started[:1])
    assert card_of(waiting).ask.kind is AskKind.LOOK and card_of(waiting).button == "It is warm"
    reading = state_of(started)
    assert card_of(reading).button is None and "0 of 21 settings read" in card_of(reading).waiting
    packs = box_values(bench)
    done = state_of(led(started, packs))
    assert [is_read for _, is_read in card_of(done).caught] == [True, True, True]
    half = state_of(led(started, packs[: 10 * 8]))
    assert [is_read for _, is_read in card_of(half).caught] == [True, False, False]


def test_what_does_not_follow_is_a_fault_of_the_program(started, bench):
    with pytest.raises(ValueError, match="cannot follow"):
        advance(state_of(started[:1]), Event(kind=Kind.BOX_READ, payload={}))
    with pytest.raises(ValueError, match="not read yet"):
        advance(state_of(started), Event(kind=Kind.OHMS_CHECKED, payload={"channels": []}))
    done = state_of(led(started, box_values(bench)))
    with pytest.raises(ValueError, match="cannot follow"):
        advance(done, Event(kind=Kind.STOPPED, payload={"reason": "late"}))
    with pytest.raises(ValueError, match="never started"):
        _ = state_of([]).started


@pytest.mark.parametrize(("insertion", "range_ohm"), [(Insertion.SENDER, 750.0), (Insertion.PROBE, None)])
def test_only_the_sender_s_range_is_ordered_as_the_probe_has_one_alone(insertion, range_ohm):
    wanted = WantedBench.for_box(BoxSetting(insertion=insertion, range_ohm=750.0, setting_ohm=330))
    assert wanted == WantedBench(insertion=insertion, decade_ohm=330.0, range_ohm=range_ohm)
