"""Words of the step card while a sender is taken through its range in one heating with rests."""

from calibration.bath.identifiability import LARGEST_START_SLOPE_K_PER_MIN, PAUSES_NEAR_C
from host.procedures.sender.heating_loop import HeatingLoop, top_c
from host.procedures.sender.loop_watch import LoopStatus
from host.procedures.sender.sender_check_state import SenderCheckState
from host.procedures.step_card import Ask, AskKind, StepCard

#: Steps of a loop: rest, then heating and rest at each pause and at the top.
LOOP_STEPS = 1 + 2 * (len(PAUSES_NEAR_C) + 1)

#: Thermostat of a heater that has one, so that it gives all it has up to the top. [K]
_ABOVE_TOP_K = 10.0
_HOTTEST_SETTING_C = 98.0

# Water this warm scalds at once; common practice, no single source.
_SCALDING_C = 50.0


def loop_card(
    state: SenderCheckState, bath: LoopStatus, *, before: int, steps: int, trouble: str | None
) -> StepCard:
    """Step card of a run that goes by a loop.

    Parameters
    ----------
    state : SenderCheckState
    bath : LoopStatus
        What the bench sees just now.
    before : int
        Steps before the loop.
    steps : int
        Steps of the whole run.
    trouble : str or None
        Trouble of the station itself; it goes before that of the readings.
    """
    loop = state.loop
    instruction, waiting, ask = _said(state, bath)
    return StepCard(
        step=before + _step_of(loop),
        steps=steps,
        instruction=instruction,
        caution=_caution(state, bath),
        waiting=waiting,
        trouble=trouble or bath.trouble,
        ask=ask,
        is_hands_turn=_is_hands_turn(loop, bath),
        caught=caught_of(state),
    )


def caught_of(state: SenderCheckState) -> tuple[tuple[str, bool], ...]:
    """Each rest of a loop as words, and whether it is over."""
    loop = state.loop
    over = 0 if loop is None else sum(rest.to_s is not None for rest in loop.rests)
    pauses = tuple((f"{pause:g} °C", number < over) for number, pause in enumerate(PAUSES_NEAR_C))
    return (*pauses, (f"{top_c(state.started.set_points_c):g} °C", state.loop_readings is not None))


def _step_of(loop: HeatingLoop | None) -> int:
    if loop is None:
        return 1
    over = sum(rest.to_s is not None for rest in loop.rests)
    return 2 + 2 * over + (0 if loop.resting is None else 1)


def _said(state: SenderCheckState, bath: LoopStatus) -> tuple[str, str | None, Ask]:
    loop = state.loop
    if loop is None:
        return _rest_words(bath)
    if loop.resting is None:
        return _heating_words(state, loop, bath)
    return _pause_words(loop, bath)


def _rest_words(bath: LoopStatus) -> tuple[str, str | None, Ask]:
    waiting = "Waiting until the bath is at rest."
    if bath.rate_k_per_min is not None:
        waiting = (
            f"The bath is at {bath.probe_c:.1f} °C and moves by {abs(bath.rate_k_per_min):.1f} K/min; at "
            f"rest is {LARGEST_START_SLOPE_K_PER_MIN:g} or less, half a minute long."
        )
    return "Heater off, stirrer on. Leave the bath alone.", waiting, Ask(kind=AskKind.HEATER_OFF)


def _heating_words(
    state: SenderCheckState, loop: HeatingLoop, bath: LoopStatus
) -> tuple[str, str | None, Ask]:
    top = top_c(state.started.set_points_c)
    until_c = top if loop.next_pause_c is None else loop.next_pause_c
    setting_c = min(top + _ABOVE_TOP_K, _HOTTEST_SETTING_C)
    waiting = f"The next call comes at {until_c:g} °C."
    if bath.probe_c is not None:
        waiting = f"The bath is at {bath.probe_c:.1f} °C{_rate_words(bath)}. {waiting}"
    return (
        f"Switch the heater on at full power; where it has a thermostat, set {setting_c:g} °C.",
        waiting,
        Ask(kind=AskKind.HEAT, temperature_c=setting_c, step=f"to {until_c:g} °C"),
    )


def _pause_words(loop: HeatingLoop, bath: LoopStatus) -> tuple[str, str | None, Ask]:
    number = len(loop.rests)
    left = "about two minutes" if bath.left_s is None else f"{bath.left_s:.0f} s to go"
    lag = "" if bath.lag_s is None or loop.is_at_top else f"; the sender lags by about {bath.lag_s:.0f} s"
    waiting = f"{'Top' if loop.is_at_top else 'Rest'}: {left}{lag}."
    return (
        "Switch the heater off now; stirrer on.",
        waiting,
        Ask(kind=AskKind.HEATER_OFF, step=f"rest {number}"),
    )


def _rate_words(bath: LoopStatus) -> str:
    return "" if bath.rate_k_per_min is None else f", rising at {bath.rate_k_per_min:.1f} K/min"


def _is_hands_turn(loop: HeatingLoop | None, bath: LoopStatus) -> bool:
    """Hands are wanted where the bath does not yet do what it should."""
    rate = bath.rate_k_per_min
    if loop is None:
        return bath.trouble is not None
    if loop.resting is None:
        return rate is None or rate < 1.0
    return rate is None or rate > 0.4 * loop.resting.rate_k_per_min


def _caution(state: SenderCheckState, bath: LoopStatus) -> str | None:
    if state.loop is None:
        return "The heater stays off until it is called for; it must never run dry."
    if max(bath.probe_c or 0.0, state.loop.next_pause_c or 100.0) < _SCALDING_C:
        return None
    return "Hot water scalds and its steam burns. Do not move the jug; nothing sealed goes in it."
