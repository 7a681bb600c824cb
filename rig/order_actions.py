"""What each order does to the bench; one that cannot be carried out is refused in words."""

from collections.abc import Callable, Mapping
from typing import Any

from calibration.contract.messages import number_field, text_field
from calibration.contract.orders import LONGEST_BURST_S, WRITE_CONFIRMATION, Action
from calibration.contract.readings import Insertion
from rig.bench import Bench
from rig.errors import OrderRefused
from rig.pace import Pace

SHORTEST_BURST_S = 0.1
IDENTIFY_S = 10.0
EMISSIVITY_SPAN = (0.1, 1.0)

Fields = dict[str, Any]


def _within(value: float, span: tuple[float, float], what: str, unit: str = "") -> float:
    low, high = span
    if not low <= value <= high:
        raise OrderRefused(f"{what} must be {low:g} to {high:g}{unit}, not {value:g}{unit}.")
    return value


def _set_decade(bench: Bench, _pace: Pace, fields: Fields) -> None:
    bench.set_decade(number_field(fields, "resistance_ohm"))


def _set_insertion(bench: Bench, _pace: Pace, fields: Fields) -> None:
    word = text_field(fields, "insertion")
    if word not in tuple(Insertion):
        raise OrderRefused(f"insertion must be one of {', '.join(Insertion)}, not {word!r:.40}")
    bench.set_insertion(Insertion(word))


def _set_range(bench: Bench, _pace: Pace, fields: Fields) -> None:
    channel = text_field(fields, "channel", default="sender")
    if channel not in ("sender", "probe"):
        raise OrderRefused(f"channel must be sender or probe, not {channel!r:.40}")
    set_range = bench.set_range if channel == "sender" else bench.set_probe_range
    if "range_ohm" in fields and fields["range_ohm"] is None:
        set_range(None)
    else:
        set_range(number_field(fields, "range_ohm"))


def _set_rate(_bench: Bench, pace: Pace, fields: Fields) -> None:
    pace.set_rate(number_field(fields, "passes_per_s"))


def _burst(bench: Bench, _pace: Pace, fields: Fields) -> None:
    duration_s = _within(
        number_field(fields, "duration_s"), (SHORTEST_BURST_S, LONGEST_BURST_S), "A burst", " s"
    )
    bench.burst(duration_s)


def _identify(bench: Bench, _pace: Pace, _fields: Fields) -> None:
    bench.identify(IDENTIFY_S)


def _set_duty(bench: Bench, _pace: Pace, fields: Fields) -> None:
    duty = _within(number_field(fields, "duty"), (0.0, 1.0), "duty")
    bench.set_duty(duty)


def _restart_sampling(bench: Bench, pace: Pace, _fields: Fields) -> None:
    bench.safe()
    bench.set_range(None)
    bench.set_probe_range(None)
    pace.reset()


def _read_emissivity(bench: Bench, _pace: Pace, _fields: Fields) -> float:
    return bench.read_emissivity()


def _write_emissivity(bench: Bench, _pace: Pace, fields: Fields) -> None:
    if fields.get("confirm") != WRITE_CONFIRMATION:
        raise OrderRefused(
            "The infrared sensor's memory is written only where the order says "
            f"confirm: {WRITE_CONFIRMATION!r}. Its maker's calibration is lost if this goes wrong."
        )
    emissivity = _within(number_field(fields, "emissivity"), EMISSIVITY_SPAN, "emissivity")
    bench.write_emissivity(emissivity, confirmed=True)


def _hands(bench: Bench, _pace: Pace, fields: Fields) -> None:
    bench.hands(fields)


ACTIONS: Mapping[Action, Callable[[Bench, Pace, Fields], float | None]] = {
    Action.SET_DECADE: _set_decade,
    Action.SET_INSERTION: _set_insertion,
    Action.SET_RANGE: _set_range,
    Action.SET_RATE: _set_rate,
    Action.BURST: _burst,
    Action.IDENTIFY: _identify,
    Action.SET_DUTY: _set_duty,
    Action.RESTART_SAMPLING: _restart_sampling,
    Action.READ_EMISSIVITY: _read_emissivity,
    Action.WRITE_EMISSIVITY: _write_emissivity,
    Action.HANDS: _hands,
}
