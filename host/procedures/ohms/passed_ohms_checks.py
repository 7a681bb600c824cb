"""Every ohms check that was made at the stations, alone or inside a sender check, as its events have it."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from calibration.resistance.ohms_check import OhmsCheckError
from host.citation import Citation
from host.procedures.bench_setup import box_corrections, decade_box_of
from host.procedures.event import Event
from host.procedures.ohms import ohms_check
from host.procedures.ohms.box_setting import BoxSetting
from host.procedures.ohms.channel_found import ChannelFound, channels_found
from host.procedures.ohms.reused_check import ReusedCheck
from host.procedures.run_kind import RunKind
from host.procedures.sender import sender_check
from host.store import Store
from host.store.runs import Run

_KINDS = (RunKind.SENDER_CHECK, RunKind.OHMS_CHECK)
_OHMS_CHECKED = "ohms_checked"  # in both procedures


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeCheck:
    """An ohms check that was begun.

    Attributes
    ----------
    run : int
        Run that made it.
    is_alone : bool
        Whether the run was nothing else.
    station, operator, time_zone : str
    decade_box : Mapping[str, Any]
        That stood behind it, as the register had it.
    plan : tuple[BoxSetting, ...]
    box_read : tuple[Citation, ...]
        Readings of the first settings of the plan.
    checked_utc_s : float or None
        When it was passed; None where it was not. [s]
    touched_utc_s : float
        When the newest event of its run came. [s]
    has_failed : bool
        Whether its run stopped after the box had been read, before it was passed.
    channels : tuple[ChannelFound, ...] or None
        What was found, where its event says it.
    """

    run: int
    is_alone: bool
    station: str
    operator: str
    time_zone: str
    decade_box: Mapping[str, Any]
    plan: tuple[BoxSetting, ...]
    box_read: tuple[Citation, ...]
    checked_utc_s: float | None
    touched_utc_s: float
    has_failed: bool
    channels: tuple[ChannelFound, ...] | None

    @property
    def as_reused(self) -> ReusedCheck:
        """By value, for a run that rests on it.

        Raises
        ------
        ValueError
            If it was not passed.
        """
        if self.checked_utc_s is None:
            raise ValueError(f"The ohms check of run {self.run:04d} was not passed.")
        return ReusedCheck(
            run=self.run, checked_utc_s=self.checked_utc_s, plan=self.plan, box_read=self.box_read
        )


def made_check_of(store: Store, run: int) -> MadeCheck | None:
    """Ohms check that a run made itself; None where it made none."""
    if store.runs.kind_of(run) not in _KINDS:
        return None
    return _made(store, store.runs.get(run))


def made_checks(store: Store, station: str) -> Iterator[MadeCheck]:
    """Ohms checks of a station, the newest first, read one by one as they are asked for."""
    for run in reversed(store.runs.of_kind(*_KINDS)):
        if run.station == station and run.settings.get("ohms_check") is None:
            made = _made(store, run)
            if made is not None:
                yield made


def channels_of(store: Store, made: MadeCheck) -> tuple[ChannelFound, ...]:
    """What a passed check found on each range: from its event, else from its readings.

    Empty where neither has it: the readings are gone, or today's limits would not let it pass.
    """
    if made.channels is not None:
        return made.channels
    try:
        box = decade_box_of(made.decade_box)
        return channels_found(
            box_corrections(made.plan, made.box_read, made.decade_box, store.readings_of), box
        )
    except (OhmsCheckError, ZeroDivisionError):
        return ()


def _made(store: Store, run: Run) -> MadeCheck | None:
    timed = store.runs.timed_events(run.number)
    if not timed:
        return None
    events = [Event(kind=event.kind, payload=event.payload) for event in timed]
    is_alone = run.kind == RunKind.OHMS_CHECK
    state = ohms_check.state_of(events) if is_alone else sender_check.state_of(events)
    if not is_alone and state.started.ohms_check is not None:  # it rests on that of another run
        return None
    passed = [event for event in timed if event.kind == _OHMS_CHECKED]
    said = passed[0].payload.get("channels") if passed else None
    return MadeCheck(
        run=run.number,
        is_alone=is_alone,
        station=state.started.station,
        operator=state.started.operator,
        time_zone=state.started.time_zone,
        decade_box=state.started.decade_box,
        plan=state.plan,
        box_read=state.box_read,
        checked_utc_s=passed[0].appended_utc_s if passed else None,
        touched_utc_s=timed[-1].appended_utc_s,
        has_failed=not passed and bool(state.box_read) and state.is_over,
        channels=None if said is None else tuple(ChannelFound.from_json(one) for one in said),
    )
