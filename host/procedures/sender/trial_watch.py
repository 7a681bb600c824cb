"""Watches the readings of a trial: waits after the change, then reads a window as at a plateau."""

from dataclasses import replace

from calibration.bench_point import BenchSetup
from calibration.contract.readings import Insertion, ReadingPack
from host.citation import Citation
from host.procedures.bench_setup import ReadingsOf
from host.procedures.event import Event
from host.procedures.sender.bath_reading import has_wanted_duty
from host.procedures.sender.measured_lines import TrialError, judge_trial
from host.procedures.sender.plateau_watch import BathStatus, PlateauWatch
from host.procedures.sender.sender_check import Kind
from host.procedures.sender.sender_check_state import SenderCheckState
from host.procedures.sender.trials import REST_S, TRIAL_STEPS, Trial


class TrialWatch:
    """Fed each reading in order; the same readings always lead to the same events.

    Parameters
    ----------
    setup : BenchSetup
        Turns counts into temperatures.
    readings_of : callable
        Readings that a citation names.
    """

    def __init__(self, setup: BenchSetup, readings_of: ReadingsOf) -> None:
        self._setup = setup
        self._readings_of = readings_of
        self._window = PlateauWatch(setup)
        self._changed_at: tuple[str, float] | None = None
        self._rest_s: float | None = None

    @property
    def status(self) -> BathStatus:
        """What the step card says while it waits."""
        return replace(self._window.status, rest_s=self._rest_s)

    def feed(self, state: SenderCheckState, pack: ReadingPack) -> Event | None:
        """Event that a reading leads to, or None."""
        name = state.trial_step
        if name is None or not state.is_trial_set:
            return None
        if state.opened_at is None and not self._has_rested(state, pack):
            return None
        if TRIAL_STEPS[name].trial is Trial.CURRENTS and pack.sender_duty is None:
            return self._left_out(pack)
        event = self._window.feed(state, pack)
        if event is None:
            return None
        self._changed_at = None
        if event.kind == Kind.WINDOW_CLOSED:
            return self._read(state, name, Citation.from_json(event.payload["readings"]))
        return event

    def _has_rested(self, state: SenderCheckState, pack: ReadingPack) -> bool:
        """Tell whether the change is long enough ago, by the readings since."""
        if state.look_from is not None and (pack.boot, pack.seq) <= state.look_from:
            return False
        if pack.insertion is not Insertion.NONE or not has_wanted_duty(state, pack):
            self._changed_at = None
            return False
        if self._changed_at is None or self._changed_at[0] != pack.boot:
            self._changed_at = (pack.boot, pack.rig_time_s)
        gone_s = pack.rig_time_s - self._changed_at[1]
        self._rest_s = REST_S - gone_s if gone_s < REST_S else None
        return gone_s >= REST_S

    def _read(self, state: SenderCheckState, name: str, citation: Citation) -> Event:
        """The step is read; with a trial's last step the trial itself must tell something."""
        windows = {**state.trial_windows, name: citation}
        trial = TRIAL_STEPS[name].trial
        try:
            judge_trial(trial, state, windows, self._setup, self._readings_of)
        except TrialError as error:
            mark = {"boot": citation.boot, "seq": citation.last}
            payload = {"trial": trial.value, "reason": str(error), **mark}
            return Event(kind=Kind.TRIAL_AGAIN, payload=payload)
        return Event(kind=Kind.TRIAL_READ, payload={"step": name, "readings": citation.as_json()})

    def _left_out(self, pack: ReadingPack) -> Event:
        reason = "the rig does not say its duty: bring its program up to date"
        payload = {"trial": Trial.CURRENTS.value, "reason": reason, "boot": pack.boot, "seq": pack.seq}
        return Event(kind=Kind.TRIAL_LEFT_OUT, payload=payload)
