"""From what a person asks for to the settings of a sender check, or a refusal that says what to do."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calibration.contract.readings import ReadingPack
from calibration.curves import CurveError, ReferenceCurve
from host.certificates.canonical import certificate_from_canonical
from host.curve_choice import curve_by_name, text_of_curve
from host.curve_to_find import FIND_OUT, CurveChoice, stand_in_curve
from host.errors import DeskError
from host.live import Live
from host.local_time import zone_to_keep
from host.procedures.bench_setup import box_plan, ohms_check_plan, probe_of
from host.procedures.event import Event
from host.procedures.logged import events_of
from host.procedures.ohms.check_to_reuse import check_to_reuse
from host.procedures.ohms.reused_check import ReusedCheck
from host.procedures.run_kind import RunKind
from host.procedures.sender.heating_loop import RUNS_ON_K, top_c
from host.procedures.sender.sender_check import Kind, state_of
from host.procedures.sender.sender_check_settings import (
    LOOP_METHOD_VERSION,
    METHOD_VERSION,
    PROBE_RANGE_OHM,
    SENDER_RANGES_OHM,
    Course,
    SenderCheckSettings,
)
from host.procedures.sender.set_up_steps import SET_UP_STEPS
from host.procedures.sender.trials import Trial
from host.procedures.station_instruments import certified, of_this_world
from host.station_thermometers import witness_content
from host.store import Store
from host.store.instrument_kind import InstrumentKind

_LEAST_SET_POINTS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class SenderCheckWish:
    """What a sender check is asked to be.

    Attributes
    ----------
    station, item : str
    curve : str
        By name, of the library or of the shop's own; `FIND_OUT` where it is chosen from the readings.
    set_points_c : tuple[float, ...]
        In any order. [°C]
    rule : str
        A word of `DecisionRule`.
    limit_k : float or None
        Limit in place of the curve's own tolerance. [K]
    customer, operator : str
    customer_contact, place, received : str
        As they stand on the certificate; empty where nobody said.
    anew : bool
        Whether the ohms are checked anew although an earlier check would serve.
    as_left_of : int or None
        Run of the first check of this sender, where this is the second one, as left.
    done : str
        What was done to the sender between the two.
    job, wiring, connector_notes : str
    trials : tuple[str, ...]
        What is changed on purpose at the hottest plateau to be measured, words of `Trial`.
    move_connector : bool
        Whether the connector is moved at the end while bursts are read.
    set_up : tuple[str, ...]
        Steps of setting up that are asked for one by one, keys of `SET_UP_STEPS`.
    course : Course
        Plateaus, or one loop.
    exercise : int or None
        Exercise that the run belongs to.
    """

    station: str
    item: str
    curve: str
    set_points_c: tuple[float, ...]
    rule: str = "guarded"
    limit_k: float | None = None
    customer: str = ""
    operator: str = ""
    anew: bool = False
    as_left_of: int | None = None
    done: str = ""
    job: str = ""
    wiring: str = ""
    connector_notes: str = ""
    trials: tuple[str, ...] = ()
    move_connector: bool = False
    set_up: tuple[str, ...] = tuple(SET_UP_STEPS)
    course: Course = Course.PLATEAUS
    exercise: int | None = None
    customer_contact: str = ""
    place: str = ""
    received: str = ""


def settings_of(wish: SenderCheckWish, *, store: Store, live: Live) -> SenderCheckSettings:
    """Settings of a sender check.

    Raises
    ------
    DeskError
        If it cannot begin; says what to do.
    """
    latest = live.latest(wish.station)
    if latest is None:
        raise DeskError(f"{wish.station} has sent no reading yet. Switch the rig on and look at its light.")
    curve = _checked_curve(wish, store)
    settings = SenderCheckSettings(
        station=wish.station,
        item=wish.item,
        customer=wish.customer,
        operator=wish.operator,
        curve=wish.curve,
        curve_hash=curve.content_hash,
        curve_text="" if wish.curve == FIND_OUT else text_of_curve(wish.curve, store.curves),
        rule=wish.rule,
        limit_k=wish.limit_k,
        set_points_c=tuple(sorted(wish.set_points_c)),
        probe=of_this_world(certified(store, "probe", wish.station), latest),
        decade_box=of_this_world(certified(store, "decade_box", wish.station), latest),
        witness=_witness(InstrumentKind.WITNESS, wish.station, store, latest),
        infrared=_witness(InstrumentKind.RIG_INFRARED, wish.station, store, latest),
        ohms_check=None if wish.anew else check_that_serves(wish.station, store=store, live=live),
        set_up=wish.set_up,
        trials=_trials(wish, latest),
        move_connector=wish.move_connector,
        job=wish.job,
        wiring=wish.wiring,
        connector_notes=wish.connector_notes,
        as_left_of=None if wish.as_left_of is None else _as_found(wish.as_left_of, wish.done, store),
        curve_choice=_chosen_before(wish, store),
        time_zone=zone_to_keep(store.settings.read().time_zone, store.now()),
        course=wish.course,
        exercise=wish.exercise,
        customer_contact=wish.customer_contact,
        place=wish.place,
        received=wish.received,
        method_version=LOOP_METHOD_VERSION if wish.course is Course.LOOP else METHOD_VERSION,
    )
    _check_set_points(settings)
    if settings.course is Course.LOOP:
        _check_loop(settings)
    return settings


def _witness(kind: InstrumentKind, station: str, store: Store, latest: ReadingPack) -> Mapping[str, Any]:
    """A witness of the station with its corrections; it is only looked at: nothing is refused without it."""
    content = dict(witness_content(store, kind, station))
    return {} if content.get("simulated", False) and not latest.simulated else content


def wish_again(settings: SenderCheckSettings, *, course: Course) -> SenderCheckWish:
    """The same check once more, by another course; trials go with plateaus alone."""
    found = settings.as_left_of
    return SenderCheckWish(
        station=settings.station,
        item=settings.item,
        curve=settings.curve,
        set_points_c=settings.set_points_c,
        rule=settings.rule,
        limit_k=settings.limit_k,
        customer=settings.customer,
        operator=settings.operator,
        as_left_of=None if found is None else int(found["run"]),
        done="" if found is None else str(found["done"]),
        job=settings.job,
        wiring=settings.wiring,
        connector_notes=settings.connector_notes,
        trials=() if course is Course.LOOP else settings.trials,
        move_connector=settings.move_connector,
        set_up=settings.set_up,
        course=course,
        exercise=settings.exercise,
        customer_contact=settings.customer_contact,
        place=settings.place,
        received=settings.received,
    )


def check_that_serves(station: str, *, store: Store, live: Live) -> ReusedCheck | None:
    """Ohms check of an earlier run that the next one of a station may rest on; None where there is none."""
    latest = live.latest(station)
    try:
        box = certified(store, "decade_box", station)
    except DeskError:
        return None
    if latest is None:
        return None
    plan = box_plan(box, sender_ranges_ohm=SENDER_RANGES_OHM, probe_range_ohm=PROBE_RANGE_OHM)
    return check_to_reuse(store, station=station, rig=latest.rig, decade_box=box, plan=plan)


def started_event(settings: SenderCheckSettings) -> Event:
    """First event of a run."""
    plan = ohms_check_plan(settings) if settings.ohms_check is None else ()
    payload = {"settings": settings.as_json(), "plan": [setting.as_json() for setting in plan]}
    return Event(kind=Kind.STARTED, payload=payload)


def _trials(wish: SenderCheckWish, latest: ReadingPack) -> tuple[str, ...]:
    """Trials in the order in which a run takes them, refused where the rig cannot say what they rest on."""
    trials = tuple(trial.value for trial in Trial if trial in wish.trials)
    if Trial.CURRENTS in trials and latest.sender_duty is None:
        raise DeskError(
            f"{wish.station} does not say for how long the sender carries current: bring the rig’s program "
            "up to date, or start the check without the two currents."
        )
    return trials


def _as_found(run: int, done: str, store: Store) -> Mapping[str, Any]:
    """The first check by value, from its newest certificate, or from the draft that waits to become one."""
    issued = store.certificates.of_run(run)
    papers = [one.files for one in issued] or [
        one.files for one in store.drafts.of_run(run) if one.is_waiting
    ]
    if not papers:
        raise DeskError(
            f"Run {run:04d} has no certificate: there is nothing found to set this check beside. "
            "Start a check of its own."
        )
    paper = certificate_from_canonical(papers[-1].canonical_json)
    return {
        "run": run,
        "number": paper.number,
        "measured": paper.measured,
        "verdict": paper.verdict.value,
        "done": done,
        "points": [
            {
                "temperature_c": point.temperature_c,
                "error_k": point.error_k,
                "expanded_u_k": point.expanded_u_k,
                "verdict": point.verdict.value,
                "k": point.k,
            }
            for point in paper.points
        ],
    }


def _chosen_before(wish: SenderCheckWish, store: Store) -> CurveChoice | None:
    """The choice of the first check, where this one, as left, is judged against the same curve."""
    first = wish.as_left_of
    if first is None or store.runs.kind_of(first) != RunKind.SENDER_CHECK:
        return None
    choice = state_of(events_of(store, first)).started.curve_choice
    return choice if choice is not None and choice.curve == wish.curve else None


def _checked_curve(wish: SenderCheckWish, store: Store) -> ReferenceCurve:
    if wish.curve == FIND_OUT:
        return stand_in_curve()
    try:
        curve = curve_by_name(wish.curve, store.curves)
        for point in wish.set_points_c:
            curve.resistance_ohm(point)
            if wish.limit_k is None:
                curve.limit_k(point, 0.0)
    except CurveError as error:
        raise DeskError(str(error)) from error
    return curve


def _check_set_points(settings: SenderCheckSettings) -> None:
    probe = probe_of(settings.probe)
    if len(set(settings.set_points_c)) < _LEAST_SET_POINTS:
        raise DeskError("A sender check needs three different set points or more.")
    outside = [point for point in settings.set_points_c if not probe.covers(point)]
    if outside:
        raise DeskError(
            f"The probe's certificate covers {probe.valid_from_c:g} to {probe.valid_to_c:g} °C, and "
            f"{outside[0]:g} °C is outside. Choose set points inside it."
        )


def _check_loop(settings: SenderCheckSettings) -> None:
    if settings.trials:
        raise DeskError(
            "Two depths, changed places and two currents are read at a held temperature: choose plateaus for "
            "them, or the loop without them."
        )
    probe = probe_of(settings.probe)
    hottest_c = top_c(settings.set_points_c) + RUNS_ON_K
    if not probe.covers(hottest_c):
        raise DeskError(
            f"A loop with these set points runs on to some {hottest_c:.0f} °C, and the probe's certificate "
            f"ends at {probe.valid_to_c:g} °C. Choose a lower highest set point, or plateaus."
        )
