"""The way a sender took through a run: its resistance against the bath, reading by reading.

While the bath heats the sender lags, and its branch stands off its curve; held at a plateau it closes.
Nothing is judged here: corrections of the ohms are in, those of stem and lead are not.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from calibration.bench_point import BenchPointError, BenchSetup
from calibration.contract.readings import Insertion, Quality, ReadingPack
from calibration.errors import CurveError
from host.classroom.exercise_log import planted_box_of
from host.classroom.planted_box import Sight
from host.procedures.bench_setup import bench_setup_of, raw_count
from host.procedures.sender.heating_loop import HeatingLoop
from host.procedures.sender.sender_check_settings import Course
from host.procedures.sender.sender_check_state import Phase, SenderCheckState, Window
from host.store import Store

#: One reading in so many is enough for a picture: three seconds of a rig that reads four times a second.
EVERY = 12

#: The end of a rest of a loop, where the branch has closed. [s]
_HELD_S = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CoursePoint:
    """One reading on the way.

    Attributes
    ----------
    boot, seq : str, int
        Which reading.
    rig_time_s : float
        When. [s]
    temperature_c : float
        Bath, by the probe's certificate. [°C]
    resistance_ohm : float
        Sender. [Ω]
    difference_k : float or None
        What the sender means by its curve, minus the bath; None where the curve says nothing there. [K]
    """

    boot: str
    seq: int
    rig_time_s: float
    temperature_c: float
    resistance_ohm: float
    difference_k: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Closing:
    """How the sender's branch closed at one plateau.

    Attributes
    ----------
    temperature_c, resistance_ohm : float
        Means of what was drawn of the plateau. [°C], [Ω]
    on_the_way_k : float or None
        Difference from the bath where it was furthest on the way there; None where nothing can be said. [K]
    held_k : float or None
        Mean difference on the plateau. [K]
    """

    temperature_c: float
    resistance_ohm: float
    on_the_way_k: float | None
    held_k: float | None


def course_of(state: SenderCheckState, store: Store) -> tuple[CoursePoint, ...]:
    """Way of a run so far, from the bath at its coldest to its last plateau or to now.

    What was before, the water of another check and fresh water poured over it, is no heating of this sender.

    Parameters
    ----------
    state : SenderCheckState
    store : Store

    Raises
    ------
    OhmsCheckError
        If the ohms check does not hold.
    """
    if state.heated_from is None:
        return ()
    setup = bench_setup_of(state, store.readings_of)
    points = (_point(pack, setup) for pack in _packs(state, store))
    course = tuple(point for point in points if point is not None)
    return course if state.started.course is Course.LOOP else _from_the_coldest(state, course)


def _from_the_coldest(state: SenderCheckState, course: tuple[CoursePoint, ...]) -> tuple[CoursePoint, ...]:
    """From where the bath last stood lowest before its first plateau."""
    if not course:
        return ()
    before = course
    if state.windows:
        first = state.windows[0].citation
        before = tuple(one for one in course if (one.boot, one.seq) < (first.boot, first.first))
    if not before:
        return course
    lowest_c = min(one.temperature_c for one in before)
    return course[max(number for number, one in enumerate(before) if one.temperature_c == lowest_c) :]


def closings_of(state: SenderCheckState, course: Sequence[CoursePoint]) -> tuple[Closing, ...]:
    """How the branch closed at each plateau that is read, or at each rest of a loop that is over."""
    if state.loop is not None:
        return _closings_of_loop(state, state.loop, course)
    closings: list[Closing] = []
    after = ("", 0)
    for window in state.windows:
        cited = window.citation
        held = [point for point in course if _is_in(point, window)]
        way = [point for point in course if after < (point.boot, point.seq) < (cited.boot, cited.first)]
        after = (cited.boot, cited.last)
        if held:
            closings.append(_closing(held, way))
    return tuple(closings)


def is_in_a_window(state: SenderCheckState, point: CoursePoint) -> bool:
    """Whether a plateau rests on that stretch, or the loop rested on it."""
    if state.loop is not None:
        rests = state.loop.heater_off(state.loop_end_s or point.rig_time_s)
        return point.boot == state.loop.boot and any(a <= point.rig_time_s <= b for a, b in rests)
    return any(_is_in(point, window) for window in state.windows)


def _closings_of_loop(
    state: SenderCheckState, loop: HeatingLoop, course: Sequence[CoursePoint]
) -> tuple[Closing, ...]:
    over = [rest for rest in loop.rests if rest.to_s is not None or state.loop_readings is not None]
    closings: list[Closing] = []
    after_s = loop.began_s
    for from_s, to_s in loop.heater_off(state.loop_end_s)[: len(over)]:
        points = [point for point in course if point.boot == loop.boot]
        held = [point for point in points if to_s - _HELD_S <= point.rig_time_s <= to_s]
        way = [point for point in points if after_s <= point.rig_time_s < from_s]
        after_s = to_s
        if held:
            closing = _closing(held, way)
            # Heated, a sender stands low: the lowest is where it lags most, however its error runs.
            lows = [point.difference_k for point in way if point.difference_k is not None]
            closings.append(replace(closing, on_the_way_k=min(lows) if lows else None))
    return tuple(closings)


def _is_in(point: CoursePoint, window: Window) -> bool:
    cited = window.citation
    return point.boot == cited.boot and cited.first <= point.seq <= cited.last


def _packs(state: SenderCheckState, store: Store) -> Iterator[ReadingPack]:
    assert state.heated_from is not None
    station, (first_boot, before) = state.started.station, state.heated_from
    if state.started.course is Course.LOOP:
        if state.loop is None:  # not at rest yet: what the bath did before is no part of the way
            return
        first_boot, before = state.loop.boot, state.loop.first - 1
    exercise = state.started.exercise
    sight = None
    if exercise is not None:
        sight = Sight(box=planted_box_of(store, exercise), heated_from=state.heated_from)
    watermarks = store.packs.watermarks(station)
    is_heating = state.phase in (Phase.PLATEAUS, Phase.LOOP)
    last_read = state.windows[-1].citation if state.windows else state.loop_readings
    end = None if is_heating else last_read
    for boot in sorted(watermarks):
        if boot < first_boot or (end is not None and boot > end.boot):
            continue
        first = before + 1 if boot == first_boot else 1
        last = end.last if end is not None and boot == end.boot else watermarks[boot]
        for pack in store.packs.readings(station, boot, first, last, every=EVERY):
            yield pack if sight is None else sight.of(pack)


def _point(pack: ReadingPack, setup: BenchSetup) -> CoursePoint | None:
    channels = [pack.channels.get(name) for name in ("probe", "sender")]
    if pack.insertion is not Insertion.NONE or any(
        c is None or c.quality is not Quality.GOOD for c in channels
    ):
        return None
    try:
        probe_ohm = setup.probe_correction.corrected_ohm(raw_count(pack, "probe"))
        sender_ohm = setup.sender_correction(pack.range_ohm).corrected_ohm(raw_count(pack, "sender"))
    except (BenchPointError, ValueError):
        return None
    bath_c = setup.probe.temperature_c(probe_ohm)
    return CoursePoint(
        boot=pack.boot,
        seq=pack.seq,
        rig_time_s=pack.rig_time_s,
        temperature_c=bath_c,
        resistance_ohm=sender_ohm,
        difference_k=_difference_k(setup, sender_ohm, bath_c),
    )


def _difference_k(setup: BenchSetup, sender_ohm: float, bath_c: float) -> float | None:
    try:
        return setup.curve.indicated_c(sender_ohm, at_c=bath_c) - bath_c
    except CurveError:
        return None


def _closing(held: Sequence[CoursePoint], way: Sequence[CoursePoint]) -> Closing:
    differences = [point.difference_k for point in held if point.difference_k is not None]
    on_the_way = [point.difference_k for point in way if point.difference_k is not None]
    held_k = math.fsum(differences) / len(differences) if differences else None
    return Closing(
        temperature_c=math.fsum(point.temperature_c for point in held) / len(held),
        resistance_ohm=math.fsum(point.resistance_ohm for point in held) / len(held),
        on_the_way_k=None
        if held_k is None or not on_the_way
        else max(on_the_way, key=lambda difference: abs(difference - held_k)),
        held_k=held_k,
    )
