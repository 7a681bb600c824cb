"""The step card of an infrared check: the one next instruction, computed from its state."""

from calibration.infrared.infrared_point import FEWEST_SHOTS
from host.procedures.infrared.infrared_check import InfraredState, SetUp, TakenShot
from host.procedures.infrared.infrared_settings import InfraredSettings
from host.procedures.infrared.place_of_shot import named_c
from host.procedures.step_card import Ask, AskKind, StepCard

_SCALDS = "Hot water and a hot plate scald and burn: heater off while hands are near, nothing hot is moved."
_LASER = "Many aim with a laser: never look into it, nor point it at a face or at bright metal."
_STEAM = "Steam scalds, and it blinds the thermometer: stand beside it, and never seal the vessel."

_SET_UP = {
    SetUp.WARMED_UP: (
        "Let the thermometer lie in this room for half an hour, switched on if it can be.",
        "It lay here that long",
        "One that comes from a cold car or a warm hand shows its own change with the reading.",
    ),
    SetUp.LENS_AND_STEAM: (
        "Wipe its lens with a soft dry cloth. Shoot level, beside the steam.",
        "Wiped, and out of the steam",
        "A greasy lens reads low, and steam between lens and target reads as the steam.",
    ),
    SetUp.EMISSIVITY: (
        "Set its emissivity to {emissivity:g} and look at the display: does it say so?",
        "It says {emissivity:g}",
        "A switch that was bumped is the commonest error of all.",
    ),
    SetUp.DISTANCE: (
        "Hold it {distance:g} mm from the target and square to it: the {spot}.",
        "Measured",
        "The target must be at least two spots wide, or the thermometer sees past it.",
    ),
}


#: The same of the sensor of a rig: it lies nowhere and has no trigger.
_OF_THE_RIG = {
    SetUp.WARMED_UP: (
        "Leave the rig switched on where it stands for half an hour, out of draught, sun and steam.",
        "It stood so that long",
        "The sensor takes its own body for the surroundings: that must stand still first.",
    ),
    SetUp.LENS_AND_STEAM: (
        "Wipe the window of the sensor with a soft dry cloth. Let it look level, beside the steam.",
        "Wiped, and out of the steam",
        "A greasy window reads low, and steam between it and the target reads as the steam.",
    ),
    SetUp.DISTANCE: (
        "Fix the sensor {distance:g} mm from the target and square to it: {spot}.",
        "Measured",
        "The target must fill its view, or the sensor sees past it.",
    ),
}


def card_of(state: InfraredState) -> StepCard:
    """Card of a check that is not over."""
    settings = state.started
    needed = state.needed_set_up
    steps = len(needed) + len(settings.set_points_c) + 1
    caught = tuple(
        (f"{named_c(state, index):g} °C", index < state.closed) for index in range(len(settings.set_points_c))
    )
    step = state.next_set_up
    if step is not None:
        instruction, button, why = (_SET_UP | _OF_THE_RIG if settings.is_rig_sensor else _SET_UP)[step]
        said = {
            "emissivity": settings.set_emissivity,
            "distance": settings.distance_mm,
            "spot": settings.accept_spot(),
        }
        return StepCard(
            step=needed.index(step) + 1,
            steps=steps,
            instruction=instruction.format(**said),
            caution=_caution(settings, step),
            button=button.format(**said),
            waiting=why,
            caught=caught,
        )
    return _shooting(state, steps, caught)


def _caution(settings: InfraredSettings, step: SetUp | None = None) -> str:
    """What can hurt at this step; the sensor of a rig has no laser."""
    if step is SetUp.LENS_AND_STEAM:
        return _STEAM
    aims = step in (None, SetUp.DISTANCE) and not settings.is_rig_sensor
    return f"{_SCALDS} {_LASER}" if aims else _SCALDS


def _shooting(state: InfraredState, steps: int, caught: tuple[tuple[str, bool], ...]) -> StepCard:
    point_c = state.point_c
    if point_c is None:
        return StepCard(
            step=steps,
            steps=steps,
            instruction="All set points are read. Judge them and issue the certificate.",
            button="Judge it and issue the certificate",
            waiting="Nothing more can be added afterwards; left-out shots stay in the record.",
            caught=caught,
        )
    count = len(state.counted_at(state.closed))
    doubtful = state.doubtful
    ask = Ask(kind=AskKind.HEAT, temperature_c=point_c)
    here = len(state.needed_set_up) + state.closed + 1
    if doubtful is not None:
        return StepCard(
            step=here,
            steps=steps,
            instruction=_question(doubtful, state.counted_at(state.closed)),
            caution=_caution(state.started),
            waiting="Look first: was it typed right, was steam in the way, did the spot slip off the target?",
            ask=ask,
            caught=caught,
        )
    more = (
        f"{FEWEST_SHOTS - count} more at least" if count < FEWEST_SHOTS else "enough; more make it steadier"
    )
    return StepCard(
        step=here,
        steps=steps,
        instruction=f"Bring the target to about {named_c(state, state.closed):g} °C, wait until it stands "
        "still, and shoot.",
        caution=_caution(state.started),
        waiting=f"{count} shots that count so far: {more}. Release the trigger between them.",
        button="Go on to the next" if state.may_close else None,
        ask=ask,
        is_hands_turn=True,
        caught=caught,
    )


def _question(doubtful: TakenShot, counted: tuple[TakenShot, ...]) -> str:
    """What lies apart is the difference from the target: the target may have moved between the shots."""
    others_k = [shot.difference_k for shot in counted if shot.number != doubtful.number]
    low, high = (f"{difference_k:+.1f}" for difference_k in (min(others_k), max(others_k)))
    span = f"{low} K" if low == high else f"{low} to {high} K"
    words = (
        f"Shot {doubtful.number} said {doubtful.shown_c:.1f} °C with the target at "
        f"{doubtful.reference_c:.1f} °C: {doubtful.difference_k:+.1f} K, and the others {span}."
    )
    return f"{words.replace('-', '−')} It lies apart from them. Does it count?"
