"""A sender check as a log of events: replay, kills, bad readings, restarts of the rig."""

import math
from collections.abc import Sequence

import numpy as np
import pytest

from calibration.contract.readings import Insertion, Quality, ReadingPack
from host.citation import Citation
from host.procedures.bench_setup import bench_setup_of
from host.procedures.event import Event
from host.procedures.ohms.box_watch import BoxWatch
from host.procedures.sender.burst_watch import BURSTS, BurstWatch
from host.procedures.sender.plateau_watch import PlateauWatch
from host.procedures.sender.sender_check import Kind, advance, state_of
from host.procedures.sender.sender_check_settings import METHOD, METHOD_VERSION
from host.procedures.sender.sender_check_state import Phase, SenderCheckState
from host.procedures.sender.sender_result import certificate_of
from host.procedures.sender.set_up_steps import SET_UP_STEPS
from host.procedures.sender.trial_watch import TrialWatch
from host.procedures.sender.trials import TRIAL_STEPS
from host.shop import Shop

pytestmark = pytest.mark.slow


class PaperDesk:
    """Feeds readings to the watches as the runner does, from any state of the log."""

    def __init__(self, events: Sequence[Event], packs: Sequence[ReadingPack]) -> None:
        self.events = list(events)
        self.state = state_of(events)
        self._packs = packs
        self._box, self._plateau, self._burst = BoxWatch(), None, BurstWatch()
        self._trials: TrialWatch | None = None

    def readings_of(self, citation: Citation) -> list[ReadingPack]:
        return [
            pack
            for pack in self._packs
            if pack.boot == citation.boot and citation.first <= pack.seq <= citation.last
        ]

    def append(self, event: Event) -> None:
        self.state = advance(self.state, event)
        self.events.append(event)

    def work(self) -> None:
        self._set_trial()
        mark = self.state.opened_at or self.state.look_from or ("", 0)
        for pack in self._packs:
            if (pack.boot, pack.seq) <= mark:
                continue
            event = self._watch(pack)
            if event is not None:
                self.append(event)
            if self.state.phase is Phase.OHMS_CHECK and self.state.next_setting is None:
                self.append(Event(kind=Kind.OHMS_CHECKED, payload={}))
            if self.state.phase is Phase.CONTACT and not self.state.is_moving:
                boot, seq = self.state.look_from or ("", 0)  # pressed at once
                self.append(Event(kind=Kind.MOVING, payload={"boot": boot, "seq": seq}))
            self._set_trial()

    def _set_trial(self) -> None:
        """Hands have done at once what a trial asks for."""
        if self.state.phase is Phase.TRIALS and not self.state.is_trial_set:
            boot, seq = self.state.look_from or ("", 0)
            step = {"step": self.state.trial_step, "boot": boot, "seq": seq}
            self.append(Event(kind=Kind.TRIAL_SET, payload=step))

    def _watch(self, pack: ReadingPack) -> Event | None:
        if self.state.phase is Phase.OHMS_CHECK:
            return self._box.feed(self.state, pack)
        if self.state.phase is Phase.PLATEAUS:
            if self._plateau is None:
                self._plateau = PlateauWatch(bench_setup_of(self.state, self.readings_of))
            return self._plateau.feed(self.state, pack)
        if self.state.phase is Phase.TRIALS:
            if self._trials is None:
                self._trials = TrialWatch(bench_setup_of(self.state, self.readings_of), self.readings_of)
            return self._trials.feed(self.state, pack)
        return self._burst.feed(pack) if self.state.is_moving else None


def kinds(events: Sequence[Event]) -> list[str]:
    return [str(event.kind) for event in events]


def test_a_run_without_trouble_reads_every_setting_and_every_plateau_once(bench) -> None:
    desk = PaperDesk(bench.first_events(), bench.whole_run())
    desk.work()
    assert desk.state.phase is Phase.JUDGING
    assert len(desk.state.box_read) == len(desk.state.plan) == 21
    assert [window.set_point_c for window in desk.state.windows] == [30.0, 60.0, 85.0]
    assert kinds(desk.events).count("window_given_up") == 0


def test_a_desk_killed_after_any_event_goes_on_where_it_was(bench) -> None:
    packs = bench.whole_run()
    whole = PaperDesk(bench.first_events(), packs)
    whole.work()
    for length in range(2, len(whole.events)):
        again = PaperDesk(whole.events[:length], packs)
        again.work()
        assert again.state.phase is Phase.JUDGING
        assert again.state == whole.state  # a certificate is made of the state and the readings it cites


def test_a_desk_killed_while_the_connector_moves_goes_on_where_it_was(bench, changed) -> None:
    bench.settings = changed(bench.settings, set_up=tuple(SET_UP_STEPS), move_connector=True)
    started, fitted = bench.first_events()
    set_up = [
        Event(kind=Kind.SET_UP_DONE, payload={"step": name, "answer": step.answer or "done",
                                              "boot": bench.boot, "seq": 0})
        for name, step in SET_UP_STEPS.items()
    ]  # fmt: skip
    first = [started, fitted, *set_up]
    packs = bench.whole_run()
    bench.move_connector()
    whole = PaperDesk(first, packs)
    whole.work()
    assert whole.state.phase is Phase.JUDGING
    assert len([pack for pack in whole.readings_of(whole.state.burst) if pack.burst]) == BURSTS
    for length in range(len(first), len(whole.events)):
        again = PaperDesk(whole.events[:length], packs)
        again.work()
        assert again.state == whole.state
    with pytest.raises(ValueError, match="not the step of setting up that comes next"):
        advance(state_of(first[:2]), set_up[1])


@pytest.fixture(scope="module")
def thorough_desk(thorough_bench) -> PaperDesk:
    """A desk that led that run to its end; read only."""
    desk = PaperDesk(thorough_bench.first_events(), thorough_bench.packs)
    desk.work()
    return desk


def test_a_desk_killed_after_any_event_of_a_trial_goes_on_where_it_was(thorough_bench, thorough_desk) -> None:
    whole = thorough_desk
    assert whole.state.phase is Phase.JUDGING
    assert tuple(whole.state.trial_windows) == tuple(TRIAL_STEPS)
    from_trials = kinds(whole.events).index("trial_read") - 2
    for length in range(from_trials, len(whole.events)):
        again = PaperDesk(whole.events[:length], thorough_bench.packs)
        again.work()
        assert again.state == whole.state


def test_each_step_of_a_trial_cites_readings_that_were_taken_as_it_asks(
    thorough_bench, thorough_desk
) -> None:
    desk = thorough_desk
    duties = {
        step: {pack.sender_duty for pack in desk.readings_of(cited)}
        for step, cited in desk.state.trial_windows.items()
    }
    assert duties["full_current"] == {1.0}
    assert all(duties[step] == {0.25} for step in TRIAL_STEPS if step != "full_current")
    firsts = [cited.first for cited in desk.state.trial_windows.values()]
    held_from = len(thorough_bench.packs) - 5 * 4 * 167
    for number, first in enumerate(firsts):
        assert first > held_from + number * 4 * 167 + 4 * 70


def test_a_certificate_says_what_was_measured_on_this_sender_and_cites_it(thorough_desk) -> None:
    desk = thorough_desk
    paper = certificate_of(desk.state, desk.readings_of, number="2026-7", shop=Shop(), run=7)
    conditions = dict(paper.conditions)
    assert "drawn out by 15 mm at 85.0 °C it read 0.100 K lower" in conditions["two depths"]
    assert "the water differed by +0.005 K" in conditions["probe and sender swapped"]
    assert "it read 0.020 K higher" in conditions["two currents"]
    assert "at 85.0 °C (swapped)" in conditions["bath"]
    assert "stem share and gradient measured on this sender" in paper.remarks[0]
    assert (
        "dissipation assumed, in agreement with what was read" in paper.remarks[0]
    )  # 20 mK at four times the power: within what is assumed
    assert sum(cited.startswith(("two ", "probe and sender swapped")) for cited in paper.citations) == len(
        TRIAL_STEPS
    )
    lines = {line.quantity for line in paper.points[0].budget.lines}
    assert {"sender: stem, by two depths", "bath: gradient, by changing places"} <= lines


def test_a_usual_certificate_says_what_was_not_measured(bench) -> None:
    desk = PaperDesk(bench.first_events(), bench.whole_run())
    desk.work()
    paper = certificate_of(desk.state, desk.readings_of, number="2026-7", shop=Shop(), run=7)
    assert "assumed spans, not measured on this sender" in paper.remarks[0]
    assert not {"two depths", "probe and sender swapped", "two currents"} & dict(paper.conditions).keys()


def from_the_trials_on(desk: PaperDesk, packs: Sequence[ReadingPack]) -> PaperDesk:
    """Another desk that takes the run up after its last plateau, with other readings from there."""
    trials_from = max(number for number, event in enumerate(desk.events) if event.kind == Kind.WINDOW_CLOSED)
    again = PaperDesk(desk.events[: trials_from + 1], packs)
    again.work()
    return again


def test_a_current_that_falls_back_while_it_is_read_gives_the_window_up(
    thorough_bench, thorough_desk, changed
) -> None:
    """Relays and currents go off where the desk is lost; the packs show it, whatever was ordered."""
    window = thorough_desk.state.trial_windows["full_current"]
    packs = [
        changed(pack, sender_duty=0.25) if window.first + 100 <= pack.seq < window.first + 200 else pack
        for pack in thorough_bench.packs
    ]
    desk = from_the_trials_on(thorough_desk, packs)
    given_up = next(event for event in desk.events if event.kind == Kind.WINDOW_GIVEN_UP)
    assert "current is not on for the share of the time that is wanted" in given_up.payload["reason"]
    assert "full_current" not in desk.state.trial_windows  # it was not on again for long enough


def test_a_rig_that_starts_anew_while_its_full_current_is_read_is_read_again_from_the_rest_on(
    thorough_bench, thorough_desk, changed
) -> None:
    window = thorough_desk.state.trial_windows["full_current"]
    bench = changed(thorough_bench, packs=list(thorough_bench.packs[: window.first + 99]))
    bench.reboot()
    bench.sender_duty, bench.sender_off_k = 0.25, 0.0
    for _ in range(40):  # nothing is held on after a start, until the desk orders it
        bench.read(range_ohm=750.0)
    bench.do_trials()
    desk = from_the_trials_on(thorough_desk, bench.packs)
    given_up = next(event for event in desk.events if event.kind == Kind.WINDOW_GIVEN_UP)
    assert given_up.payload["reason"] == "the rig was started again"
    assert desk.state.phase is Phase.JUDGING
    full = desk.readings_of(desk.state.trial_windows["full_current"])
    assert {(pack.boot, pack.sender_duty) for pack in full} == {(bench.boot, 1.0)}
    assert full[0].seq > 40 + 4 * 75


def test_an_uneven_bath_has_the_places_read_again_and_then_cannot_be_left_out(
    thorough_bench, thorough_desk, changed
) -> None:
    bench = changed(thorough_bench, packs=list(thorough_bench.packs[: -4 * 167]), sender_off_k=-1.2)
    bench.seq -= 4 * 167
    bench.time_s -= 167.0
    for _ in range(4 * 190):
        bench.read(range_ohm=750.0)
    desk = from_the_trials_on(thorough_desk, bench.packs)
    again = next(event for event in desk.events if event.kind == Kind.TRIAL_AGAIN)
    assert again.payload["trial"] == "places"
    assert "0.60 K between probe and sender; 0.5 K is the most" in again.payload["reason"]
    assert desk.state.phase is Phase.TRIALS
    assert desk.state.trial_step == "changed_places"
    assert not desk.state.may_leave_trial_out


def test_a_rig_that_does_not_say_its_duty_has_the_currents_left_out_with_the_reason(
    thorough_bench, thorough_desk, changed
) -> None:
    packs = [changed(pack, sender_duty=None) for pack in thorough_bench.packs]
    desk = from_the_trials_on(thorough_desk, packs)
    assert "does not say its duty" in desk.state.trials_left_out["currents"]
    assert "currents" not in desk.state.trials_read
    paper = certificate_of(desk.state, desk.readings_of, number="2026-7", shop=Shop(), run=7)
    assert dict(paper.conditions)["two currents"].startswith("left out: the rig does not say its duty")


def test_a_window_in_which_the_rig_was_started_again_is_given_up_and_read_anew(bench) -> None:
    packs = bench.whole_run()
    del packs[-4 * 70 :]  # the last window is open when the power goes
    bench.reboot()
    bench.dwell(85.0)
    desk = PaperDesk(bench.first_events(), packs)
    desk.work()
    given_up = [event for event in desk.events if event.kind == Kind.WINDOW_GIVEN_UP]
    assert [event.payload["reason"] for event in given_up] == ["the rig was started again"]
    assert desk.state.phase is Phase.JUDGING
    assert desk.state.windows[-1].citation.boot == bench.boot


def test_a_few_bad_readings_are_left_out_and_many_give_the_window_up(bench, changed) -> None:
    packs = bench.whole_run()
    desk = PaperDesk(bench.first_events(), packs)
    desk.work()
    first = desk.state.windows[0].citation.first
    few = _spoilt(packs, first, 5, changed)
    again = PaperDesk(bench.first_events(), few)
    again.work()
    assert again.state.phase is Phase.JUDGING
    many = _spoilt(packs, first, 40, changed)
    given_up = PaperDesk(bench.first_events(), many)
    given_up.work()
    assert "window_given_up" in kinds(given_up.events)


def _spoilt(packs: list[ReadingPack], first: int, count: int, changed) -> list[ReadingPack]:
    """The same readings with ``count`` of the first window's turned bad."""
    bad = set(range(first + 3, first + 3 + count))
    spoilt = []
    for pack in packs:
        if pack.seq in bad:
            sender = changed(pack.channels["sender"], quality=Quality.OPEN, value=None, reason="open circuit")
            pack = changed(pack, channels={**pack.channels, "sender": sender})
        spoilt.append(pack)
    return spoilt


def test_a_sender_that_cannot_be_read_stops_the_run_with_words_about_clips_and_leads(bench) -> None:
    packs = bench.whole_run()
    keep = [pack for pack in packs if pack.insertion is not Insertion.NONE]
    bench.packs = keep
    bench.bath_c = 30.0
    for _ in range(4 * 250):
        bench.read(quality=Quality.OPEN)
    desk = PaperDesk(bench.first_events(), bench.packs)
    desk.work()
    assert desk.state.phase is Phase.STOPPED
    assert "clips and leads" in (desk.state.reason or "")


def test_a_box_that_cannot_be_read_stops_the_run_and_names_the_setting(bench) -> None:
    setting = state_of(bench.first_events()).plan[0]
    for _ in range(60):
        bench.read(
            insertion=setting.insertion,
            decade_ohm=float(setting.setting_ohm),
            range_ohm=setting.range_ohm,
            quality=Quality.OPEN,
        )
    desk = PaperDesk(bench.first_events(), bench.packs)
    desk.work()
    assert desk.state.phase is Phase.STOPPED
    assert f"{setting.setting_ohm} Ω" in (desk.state.reason or "")


@pytest.mark.parametrize("kind", [Kind.WINDOW_CLOSED, Kind.RESULT, Kind.OHMS_CHECKED])
def test_an_event_that_cannot_follow_is_refused(bench, kind: Kind) -> None:
    with pytest.raises(ValueError, match="cannot follow"):
        advance(state_of(bench.first_events()[:1]), Event(kind=kind, payload={}))


def test_nothing_can_follow_a_stopped_run(bench) -> None:
    stopped = advance(
        state_of(bench.first_events()), Event(kind=Kind.STOPPED, payload={"reason": "the tea is ready"})
    )
    for kind in Kind:
        with pytest.raises(ValueError, match="cannot follow"):
            advance(stopped, Event(kind=kind, payload={}))


def test_an_empty_log_is_a_run_that_has_not_begun() -> None:
    assert state_of([]) == SenderCheckState()


def test_the_log_of_a_run_of_method_version_1_is_read_as_it_was(bench) -> None:
    first, *_ = bench.first_events()
    old = {"station", "item", "curve", "curve_hash", "rule", "limit_k", "set_points_c", "probe", "decade_box",
           "customer", "operator", "immersion", "gradient_half_width_k", "sender_ranges_ohm",
           "probe_range_ohm"}  # fmt: skip
    settings = {name: value for name, value in first.payload["settings"].items() if name in old}
    settings |= {"method_version": "1"}
    state = state_of([Event(kind=Kind.STARTED, payload={**first.payload, "settings": settings})])
    assert state.started.method_version == "1"
    assert state.started.reference_curve.content_hash == state.started.curve_hash
    assert len(state.plan) == 21


@pytest.mark.parametrize(
    ("begun_under", "said"),
    [(METHOD_VERSION, f"{METHOD}, version {METHOD_VERSION} (run 0007)"),
     ("1", f"{METHOD}, version {METHOD_VERSION} (run 0007, begun under version 1)")],
)  # fmt: skip
def test_a_certificate_says_the_version_that_judged_and_where_it_began_under_another(
    bench, changed, begun_under: str, said: str
) -> None:
    """A desk brought up to date in the middle of a run judges by its new code."""
    bench.settings = changed(bench.settings, method_version=begun_under)
    desk = PaperDesk(bench.first_events(), bench.whole_run())
    desk.work()
    paper = certificate_of(desk.state, desk.readings_of, number="2026-7", shop=Shop(), run=7)
    assert paper.method == said


def _wandering(packs: list[ReadingPack], changed, *, size_k: float, memory_s: float) -> list[ReadingPack]:
    """The same readings with the sender's water wandering against the probe's."""
    chance = np.random.default_rng(1)
    kept = math.exp(-0.25 / memory_s)
    away_k, wandering = 0.0, []
    for pack in packs:
        if pack.insertion is Insertion.NONE:
            away_k = kept * away_k + size_k * math.sqrt(1.0 - kept**2) * float(chance.standard_normal())
            sender = pack.channels["sender"]
            x = sender.raw / 4096.0
            # R falls by 4 % a kelvin; the ratio by x (1 - x) of that.
            moved = sender.raw - 4096.0 * x * (1.0 - x) * 0.04 * away_k
            pack = changed(pack, channels={**pack.channels, "sender": changed(sender, raw=moved)})
        wandering.append(pack)
    return wandering


@pytest.mark.parametrize(("size_k", "memory_s"), [(0.06, 40.0), (0.05, 30.0)])
def test_a_window_in_which_sender_and_probe_wander_slowly_is_not_closed_after_a_minute(
    bench, changed, size_k: float, memory_s: float
) -> None:
    """Both have settled, but a minute holds too little of such a wander for a mean."""
    bench.whole_run()
    bench.packs = [pack for pack in bench.packs if pack.insertion is not Insertion.NONE]
    bench.bath_c = 30.0
    for _ in range(4 * 900):
        bench.read()
    calm = PaperDesk(bench.first_events(), bench.packs)
    calm.work()
    minute = calm.state.windows[0].citation
    packs = _wandering(bench.packs, changed, size_k=size_k, memory_s=memory_s)
    desk = PaperDesk(bench.first_events(), packs)
    desk.work()
    opened = next(event for event in desk.events if event.kind == Kind.SETTLED).payload["seq"]
    ended = next(
        event for event in desk.events if event.kind in (Kind.WINDOW_CLOSED, Kind.WINDOW_GIVEN_UP)
    ).payload
    last = ended["readings"]["to"] if "readings" in ended else ended["seq"]
    assert last - opened > 1.4 * (minute.last - minute.first)
    if "reason" in ended:
        assert "wandered against each other" in ended["reason"] or "drifted" in ended["reason"]
