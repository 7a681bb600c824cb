"""The target of an infrared check or a witness check at this moment, and presses of the bench button."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from flask import render_template

from calibration.errors import CalibrationError
from host.contact_reference import (
    BATH_READING,
    MOST_DRIFT_K_PER_MIN,
    Press,
    Taking,
    presses_in,
    read_by_probe,
)
from host.errors import DeskError
from host.live import SILENT_AFTER_S
from host.procedures.infrared.infrared_check import InfraredState
from host.procedures.references.witness_check import WitnessState
from host.readings_of_now import not_of_now
from host.web.desk_behind import DeskBehind
from host.web.live_stream import cursor_of, paced
from host.web.scale import Scale

#: Least wall time between two events. [s]
_EVERY_S = 0.5
#: Two and a half minutes: shot, put down, typed. [passes]
NEWEST_PACKS = 600


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetNow:
    """What the probe says of the target now.

    Attributes
    ----------
    words : str
        Temperature and drift, and whether it may be shot; empty where it cannot be read.
    trouble : str
        Why it cannot be read; empty where it can.
    name : str
        What it is called.
    """

    words: str
    trouble: str = ""
    name: str = "Target"


def is_shooting(state: InfraredState) -> bool:
    """Whether a shot is asked for."""
    return not state.is_over and state.next_set_up is None and state.point_c is not None


def target_now(desk: DeskBehind, state: InfraredState) -> TargetNow | None:
    """The target by the bench's probe; None where a thermometer is read by hand. Touches no database."""
    started = state.started
    if not started.station:
        return None
    return _by_probe(desk, started.station, started.reference, started.taking)


def bath_now(desk: DeskBehind, state: WitnessState) -> TargetNow | None:
    """The bath of a witness check by the bench's probe; None where it is read by hand, or over."""
    if not state.station or state.is_over:
        return None
    now = _by_probe(desk, state.station, state.probe or {}, BATH_READING)
    return replace(now, name="Bath")


def _by_probe(desk: DeskBehind, station: str, probe: Mapping[str, Any], taking: Taking) -> TargetNow:
    refusal = not_of_now(desk.live.station(station))
    if refusal:
        return TargetNow(words="", trouble=refusal)
    try:
        reference = read_by_probe(desk.live.newest(station, NEWEST_PACKS), probe, taking=taking)
    except (DeskError, CalibrationError) as error:
        return TargetNow(words="", trouble=str(error))
    return TargetNow(
        words=f"{reference.temperature_c:.2f} °C, {reference.drift_k_per_min:+.2f} K/min: it stands still "
        f"enough (under {MOST_DRIFT_K_PER_MIN:g} K/min)"
    )


def presses_waiting(desk: DeskBehind, state: InfraredState) -> tuple[Press, ...]:
    """Presses of the bench button that were neither typed nor said to be no shots, oldest first."""
    started = state.started
    if not started.station or started.is_rig_sensor:
        return ()
    live = desk.live.station(started.station)
    age_s = None if live is None else live.newest_age_s
    if age_s is None:  # its readings are from before this desk was started
        return ()
    known = frozenset(one.stamped for one in state.shots if one.stamped is not None) | state.forgotten
    silent_for_s = age_s if age_s > SILENT_AFTER_S else 0.0
    packs = desk.live.newest(started.station, NEWEST_PACKS)
    return presses_in(packs, known=known, silent_for_s=silent_for_s)


def target_events(
    desk: DeskBehind, run: int, state: InfraredState, *, scale: Scale, last_id: str
) -> Iterator[str]:
    """Events of a check that is shot: the target now, and presses that its page does not show yet."""
    shown_ms = cursor_of(last_id)
    if shown_ms is None:  # the page was made just now, with every press that there was
        shown_ms = _newest_ms(presses_waiting(desk, state))

    def event() -> tuple[dict[str, Any], int] | None:
        if not is_shooting(state) or not state.started.station:
            return None
        waiting = presses_waiting(desk, state)
        html = render_template(
            "_target_now.html",
            target=target_now(desk, state),
            new_press=waiting[-1] if _newest_ms(waiting) > shown_ms else None,
            run=run,
            scale=scale,
        )
        return {"live": html, "run": run}, shown_ms

    return paced(desk, event, every_s=_EVERY_S)


def bath_events(desk: DeskBehind, run: int, state: WitnessState, *, scale: Scale) -> Iterator[str]:
    """Events of a witness check at a station: its bath now."""

    def event() -> tuple[dict[str, Any], int] | None:
        now = bath_now(desk, state)
        if now is None:
            return None
        html = render_template("_target_now.html", target=now, new_press=None, run=run, scale=scale)
        return {"live": html, "run": run}, 0

    return paced(desk, event, every_s=_EVERY_S)


def _newest_ms(presses: tuple[Press, ...]) -> int:
    return max((round(1000.0 * press.rig_time_s) for press in presses), default=0)
