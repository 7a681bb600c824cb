"""Where a sender check stands: made of its events alone, by `host.procedures.sender.sender_check.advance`."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from host.citation import Citation
from host.procedures.ohms.box_setting import BoxSetting
from host.procedures.sender.heating_loop import HeatingLoop
from host.procedures.sender.sender_check_settings import SenderCheckSettings
from host.procedures.sender.trials import DRAWN_OUT_MM, FULL_CURRENT, TRIAL_STEPS, Trial, steps_of


class Phase(StrEnum):
    """Where a sender check stands."""

    FITTING = "fitting"
    OHMS_CHECK = "ohms_check"
    PLATEAUS = "plateaus"
    LOOP = "loop"  # one heating with rests, in place of plateaus
    TRIALS = "trials"  # one thing after the other is changed on purpose at the hottest plateau
    CONTACT = "contact"  # connector and lead are moved while bursts are read
    CHOOSING = "choosing"  # all is read, and a person says which curve it is judged against
    JUDGING = "judging"
    DONE = "done"
    STOPPED = "stopped"


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A closed plateau: the set point and the readings."""

    set_point_c: float
    citation: Citation


@dataclass(frozen=True, slots=True, kw_only=True)
class SenderCheckState:
    """All there is to know of a run; made of its events alone.

    Attributes
    ----------
    settings : SenderCheckSettings or None
        None before the first event.
    plan : tuple[BoxSetting, ...]
        Settings of the ohms check, in order.
    box_read : tuple[Citation, ...]
        Readings of the first settings of the plan; of all of them where an earlier run's check serves.
    opened_at : tuple[str, int] or None
        (boot, seq) behind which the open window began.
    look_from : tuple[str, int] or None
        (boot, seq) behind which readings count for what comes next.
    heated_from : tuple[str, int] or None
        (boot, seq) behind which the bath was heated for the first plateau.
    windows : tuple[Window, ...]
    loop : HeatingLoop or None
        The loop so far, where the run goes by one and it has begun.
    loop_readings : Citation or None
        Readings of the loop once it is closed.
    loop_end_s : float
        Rig time of its last reading. [s]
    is_fitted : bool
        Whether the sender hangs in the bath.
    answers : Mapping[str, str]
        What was declared at each step of setting up that is done.
    trial_windows : Mapping[str, Citation]
        Readings of each step of a trial that is read.
    trials_left_out : Mapping[str, str]
        Trials that were left out, and why.
    trials_again : tuple[str, ...]
        Trials that had to be read again, once for each time.
    is_trial_set_by_hand : bool
        Whether hands have changed what the next step of a trial asks for.
    is_moving : bool
        Whether the connector is being moved.
    burst : Citation or None
        Readings that carry the bursts.
    reason : str or None
        Why it stopped, or why the last window was given up.
    verdict, certificate : str or None
        Of a run that is done.
    """

    settings: SenderCheckSettings | None = None
    phase: Phase = Phase.FITTING
    plan: tuple[BoxSetting, ...] = ()
    box_read: tuple[Citation, ...] = ()
    opened_at: tuple[str, int] | None = None
    look_from: tuple[str, int] | None = None
    heated_from: tuple[str, int] | None = None
    windows: tuple[Window, ...] = ()
    loop: HeatingLoop | None = None
    loop_readings: Citation | None = None
    loop_end_s: float = 0.0
    is_fitted: bool = False
    answers: Mapping[str, str] = field(default_factory=dict)
    trial_windows: Mapping[str, Citation] = field(default_factory=dict)
    trials_left_out: Mapping[str, str] = field(default_factory=dict)
    trials_again: tuple[str, ...] = ()
    is_trial_set_by_hand: bool = False
    is_moving: bool = False
    burst: Citation | None = None
    reason: str | None = None
    verdict: str | None = None
    certificate: str | None = None
    draft: int | None = None

    @property
    def started(self) -> SenderCheckSettings:
        """Settings of a run that has begun."""
        if self.settings is None:
            raise ValueError("This run has no first event: it was never started.")
        return self.settings

    @property
    def set_point_c(self) -> float | None:
        """Next set point to be read, the hottest while trials go on, or None where all are read. [°C]"""
        done = len(self.windows)
        points = self.started.set_points_c
        if self.phase is Phase.TRIALS:
            return points[-1]
        return points[done] if done < len(points) else None

    @property
    def next_setting(self) -> BoxSetting | None:
        """Next setting of the ohms check, or None where all are read."""
        done = len(self.box_read)
        return self.plan[done] if done < len(self.plan) else None

    @property
    def set_up_step(self) -> str | None:
        """Next step of setting up after the sender is fitted, or None where all are done."""
        return next((step for step in self.started.set_up if step not in self.answers), None)

    @property
    def immersion(self) -> str:
        """Key of `IMMERSIONS`: as declared at the bench, else as the run was started."""
        return self.answers.get("immersion") or self.started.immersion

    @property
    def trial_step(self) -> str | None:
        """Next step of a trial, a key of `TRIAL_STEPS`, or None where all are read or left out."""
        return next(
            (
                step
                for step in steps_of(self.started.trials)
                if step not in self.trial_windows and TRIAL_STEPS[step].trial not in self.trials_left_out
            ),
            None,
        )

    @property
    def is_trial_set(self) -> bool:
        """Whether the next step of a trial only wants reading."""
        step = self.trial_step
        return step is not None and (self.is_trial_set_by_hand or not TRIAL_STEPS[step].needs_hands)

    @property
    def may_leave_trial_out(self) -> bool:
        """Whether the next trial may be left out; not once its readings spoke against what is assumed."""
        step = self.trial_step
        if step is None or not TRIAL_STEPS[step].leave_out:
            return False
        return TRIAL_STEPS[step].trial not in self.trials_again

    @property
    def wants_full_current(self) -> bool:
        """Whether the sender is to carry current all the time."""
        return self.phase is Phase.TRIALS and self.trial_step == FULL_CURRENT

    @property
    def trials_read(self) -> tuple[Trial, ...]:
        """Trials whose steps are all read."""
        chosen = [trial for trial in Trial if trial in self.started.trials]
        return tuple(
            trial for trial in chosen if all(step in self.trial_windows for step in steps_of([trial]))
        )

    @property
    def drawn_out_mm(self) -> float:
        """How far the sender is drawn out for its shallow reading. [mm]"""
        return DRAWN_OUT_MM[self.immersion]

    @property
    def is_over(self) -> bool:
        """True where nothing more will happen."""
        return self.phase in (Phase.DONE, Phase.STOPPED)
