"""The way of a sender as a page shows it: the picture, a sentence, and a row for each plateau."""

from dataclasses import dataclass

from markupsafe import Markup

from calibration.resistance.ohms_check import OhmsCheckError
from host.pictures.course_chart import DrawnReading, course_chart_svg
from host.procedures.sender.sender_check_state import SenderCheckState
from host.procedures.sender.sender_course import Closing, CoursePoint, closings_of, course_of, is_in_a_window
from host.store import Store
from host.web.scale import Scale, degrees, in_both_scales

#: A picture of less says nothing. [1]
_LEAST_POINTS = 2
#: As finely as a bath is said here. [K]
_SAID_TO_K = 0.1
_CAPTION = "Sender minus bath, by its curve"
#: Of plateaus; a loop begins at rest.
_BEGINS = "from where the bath was coldest before its first plateau"


@dataclass(frozen=True, slots=True, kw_only=True)
class ClosingRow:
    """One plateau, in characters."""

    bath: str
    resistance_ohm: str
    on_the_way_k: str
    held_k: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseView:
    """The way of a run as a page."""

    chart: Markup
    caption: str
    sentence: str
    closings: tuple[ClosingRow, ...]


def course_view_of(state: SenderCheckState, store: Store, scale: Scale) -> CourseView | None:
    """Page of a run's way; None where there is none to show yet, or no curve is chosen."""
    if state.started.is_to_be_found_out:  # without a curve there is nothing for it to stand off
        return None
    try:
        course = course_of(state, store)
    except OhmsCheckError:  # the run says so itself
        return None
    if len(course) < _LEAST_POINTS:
        return None
    closings = closings_of(state, course)
    sentence = in_both_scales(_sentence(course, closings), scale)
    chart = course_chart_svg(
        [_drawn(state, point) for point in course],
        state.started.reference_curve,
        said=sentence,
        fahrenheit=scale is Scale.FAHRENHEIT,
    )
    return CourseView(
        # Markup of the desk's own drawing code, never of a person.
        chart=Markup(chart),  # noqa: S704
        caption=_CAPTION if state.loop is not None else f"{_CAPTION}, {_BEGINS}",
        sentence=sentence,
        closings=tuple(_row(closing, scale) for closing in closings),
    )


def _drawn(state: SenderCheckState, point: CoursePoint) -> DrawnReading:
    return DrawnReading(
        life=point.boot,
        time_s=point.rig_time_s,
        temperature_c=point.temperature_c,
        resistance_ohm=point.resistance_ohm,
        difference_k=point.difference_k,
        is_held=is_in_a_window(state, point),
    )


def _sentence(course: tuple[CoursePoint, ...], closings: tuple[Closing, ...]) -> str:
    """What the picture shows, for whoever does not see it."""
    told = [closing for closing in closings if closing.on_the_way_k is not None]
    if told:
        last = told[-1]
        return (
            f"On the way to {last.temperature_c:.1f} °C the sender stood up to "
            f"{_kelvin(last.on_the_way_k)} K off the bath, by its curve; held there, "
            f"{_kelvin(last.held_k)} K. Held, the branch closes and lag is gone; what is left is the "
            "sender’s own error, before the corrections of the certificate."
        )
    newest = course[-1]
    if newest.difference_k is None:
        return (
            f"The bath went from {course[0].temperature_c:.1f} °C to {newest.temperature_c:.1f} °C. This "
            "curve says nothing there, so how far the sender stands off it is not known."
        )
    return (
        f"The bath is at {newest.temperature_c:.1f} °C and the sender stands {_kelvin(newest.difference_k)} "
        "K off it, by its curve. While the bath heats, lag is in that; held at rest the branch closes."
    )


def _row(closing: Closing, scale: Scale) -> ClosingRow:
    return ClosingRow(
        bath=degrees(closing.temperature_c, scale, expanded_u_k=_SAID_TO_K),
        resistance_ohm=f"{closing.resistance_ohm:,.1f}",
        on_the_way_k=_kelvin(closing.on_the_way_k),
        held_k=_kelvin(closing.held_k),
    )


def _kelvin(difference_k: float | None) -> str:
    if difference_k is None:
        return "–"
    return f"{difference_k:+.2f}".replace("-", "−") if round(difference_k, 2) else "0.00"
