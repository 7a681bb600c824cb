"""Looks for an ohms check that a new run may rest on, so that the next sender takes some minutes less."""

from collections.abc import Mapping, Sequence
from typing import Any

from host.procedures.box_setting import BoxSetting
from host.procedures.event import Event
from host.procedures.reused_check import GOOD_FOR_S, ReusedCheck
from host.procedures.run_kind import RunKind
from host.procedures.sender_check import Kind, Phase, state_of
from host.store import Store


def check_to_reuse(
    store: Store,
    *,
    station: str,
    rig: str,
    decade_box: Mapping[str, Any],
    plan: Sequence[BoxSetting],
) -> ReusedCheck | None:
    """Newest ohms check of a station, if a new run may rest on it.

    It has to be passed, under 24 hours old, of the same rig, with the same settings on the same ranges and
    by the same certificate of the decade box. One that did not come to its end since then speaks against
    all that went before it.

    Parameters
    ----------
    store : Store
    station, rig : str
        Where, and which rig is at work there now.
    decade_box : Mapping[str, Any]
        Snapshot of the register.
    plan : sequence of BoxSetting
        What the new run would read.
    """
    oldest_utc_s = store.now() - GOOD_FOR_S
    for run in reversed(store.runs.all()):
        if (
            run.kind != RunKind.SENDER_CHECK
            or run.station != station
            or run.settings.get("ohms_check") is not None
        ):
            continue
        timed = store.runs.timed_events(run.number)
        if not timed or timed[-1].appended_utc_s < oldest_utc_s:
            return None
        passed = [event.appended_utc_s for event in timed if event.kind == Kind.OHMS_CHECKED]
        state = state_of(Event(kind=event.kind, payload=event.payload) for event in timed)
        if not passed:
            if state.box_read and state.phase is Phase.STOPPED:
                return None
            continue
        if (
            passed[0] < oldest_utc_s
            or dict(state.started.decade_box) != dict(decade_box)
            or state.plan != tuple(plan)
            or _rig_of(store, state.box_read[0].as_json()) != rig
        ):
            return None
        return ReusedCheck(run=run.number, checked_utc_s=passed[0], plan=state.plan, box_read=state.box_read)
    return None


def _rig_of(store: Store, cited: Mapping[str, Any]) -> str | None:
    packs = store.readings(cited["station"], cited["boot"], cited["from"], cited["from"])
    return packs[0].rig if packs else None
