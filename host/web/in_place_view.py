"""A comparison on the vehicle as its page shows it."""

from dataclasses import dataclass

from markupsafe import Markup

from calibration.rounding import decimals_of, rounded_text
from calibration.vehicle.shown_value import ShownValue
from host.certificates.paper_table import with_minus
from host.procedures.vehicle.in_place import BoxTaken, InPlaceState, Step, Taken
from host.procedures.vehicle.in_place_runs import InPlaceView
from host.web.scale import FAHRENHEIT_PER_K, Scale, degrees, in_both_scales, plain_degrees
from host.web.strips import live_strip

_PLAIN = {
    Step.THERMOSTAT: "thermostat",
    Step.SCAN_DATA: "scan data",
    Step.GAUGE: "dash gauge",
    Step.HEAD: "head beside the sensor",
    Step.OUTLET_HOSE: "outlet hose",
    Step.RETURN_HOSE: "return hose",
    Step.BOX_AT_COMPUTER: "box at the computer",
    Step.BOX_AT_PLUG: "box at the sender's plug",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadRow:
    """One step that was read.

    Attributes
    ----------
    step, name, value, words : str
        ``step`` by its word, what it is, what was read, and what was made of it.
    """

    step: str
    name: str
    value: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparisonRows:
    """What was read, what it comes to, and the strip."""

    read: tuple[ReadRow, ...]
    left_out: tuple[str, ...]
    words: str
    next_action: str
    findings: tuple[str, ...]
    strip: Markup


def result_rows(view: InPlaceView, scale: Scale) -> ComparisonRows:
    """Page of a comparison."""
    state, result = view.state, view.result
    return ComparisonRows(
        read=tuple(_row(state, step, scale) for step in Step if _was_read(state, step)),
        left_out=tuple(_PLAIN[step] for step in Step if step in state.skipped),
        words=with_minus(in_both_scales(state.words or result.words, scale)),
        next_action=with_minus(in_both_scales(state.next_action or result.next_action, scale)),
        findings=tuple(with_minus(in_both_scales(one.words, scale)) for one in result.findings),
        strip=live_strip(result.witnesses, scale),
    )


def _was_read(state: InPlaceState, step: Step) -> bool:
    return state.has_answer(step) and step not in state.skipped


def _row(state: InPlaceState, step: Step, scale: Scale) -> ReadRow:
    if step in state.taken:
        value, words = _reading_text(state.taken[step], scale)
    elif step in state.boxes:
        value, words = _box_text(state.boxes[step], scale)
    else:
        value, words = str(state.thermostat), ""
    return ReadRow(
        step=step.value,
        name=_PLAIN[step],
        value=with_minus(value),
        words=with_minus(in_both_scales(words, scale)),
    )


def _reading_text(taken: Taken, scale: Scale) -> tuple[str, str]:
    reading = taken.reading
    value = degrees(reading.temperature_c, scale, expanded_u_k=reading.expanded_u_k)
    factor = FAHRENHEIT_PER_K if scale is Scale.FAHRENHEIT else 1.0
    u = reading.expanded_u_k * factor
    return f"{value} ± {rounded_text(u, decimals_of(u))} {scale.unit}", f"read {taken.typed}; {taken.words}"


def _box_text(box: BoxTaken, scale: Scale) -> tuple[str, str]:
    return ", ".join(_shown_text(value, scale) for value in box.values), box.words


def _shown_text(value: ShownValue, scale: Scale) -> str:
    return f"{value.display.value} {plain_degrees(value.shown_c, scale)}"
