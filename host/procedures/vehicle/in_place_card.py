"""Words of the step card on the vehicle, all in one place so that they can be translated."""

from dataclasses import dataclass

from host.procedures.vehicle.in_place import Step

_RUNNING = (
    "The engine runs: keep hands, hair, sleeves and leads clear of belts and fan, which may start by "
    "themselves. Exhaust fumes poison: run it in the open or on extraction."
)
_LASER = "Hot parts burn. Never look into the thermometer's laser or point it at a face or at bright metal."
_PLUG = "Ignition off while a plug is parted. Never open a warm cooling system: it scalds."


@dataclass(frozen=True, slots=True, kw_only=True)
class InPlaceCard:
    """One instruction with its caution, and what the form below it takes.

    Attributes
    ----------
    step, steps : int
        Which of how many; 0 after the last.
    instruction, caution : str
    why : str
        What it is good for, in the second line.
    skip : str
        Label of the button that leaves the step out; empty where it cannot be.
    """

    step: int
    steps: int
    instruction: str
    caution: str
    why: str
    skip: str


_CARDS: dict[Step, tuple[str, str, str, str]] = {
    Step.THERMOSTAT: (
        "Run the engine until its temperature no longer rises. Then feel for warmth near the return hose.",
        _RUNNING,
        "A warm return hose means that the thermostat is open, and only then is the outlet hose as warm as "
        "the head. Hold your hand near it; do not touch.",
        "",
    ),
    Step.SCAN_DATA: (
        "Read the coolant temperature from the computer's data.",
        _RUNNING,
        "Write it as it is shown. Take the next readings within a minute.",
        "There are no data",
    ),
    Step.GAUGE: (
        "Read the dash gauge.",
        _RUNNING,
        "Only where it has numbers. Many gauges stand still on purpose over a wide middle.",
        "It has no numbers",
    ),
    Step.HEAD: (
        "Shoot the head right beside the sensor.",
        _LASER,
        "The fair comparison: it is at most a little colder than the coolant behind it (common practice). "
        "Matt tape on the metal makes it tell the truth; bare metal mirrors the engine bay.",
        "It cannot be reached",
    ),
    Step.OUTLET_HOSE: (
        "Shoot the hose where the coolant leaves the head, on matt rubber close to the housing.",
        _LASER,
        "Colder than the head until the thermostat is fully open (common practice).",
        "It cannot be reached",
    ),
    Step.RETURN_HOSE: (
        "Shoot the hose that brings the coolant back from the radiator.",
        _LASER,
        "Always colder than the outlet hose (common practice). Hotter means that one of the two shots "
        "is wrong.",
        "It cannot be reached",
    ),
    Step.BOX_AT_COMPUTER: (
        "Ignition off. Put the decade box in place of the sender at the computer's own connector, dial, "
        "switch on and read.",
        _PLUG,
        "With the box there, only the computer can be wrong.",
        "I have no box, or cannot reach it",
    ),
    Step.BOX_AT_PLUG: (
        "Ignition off. Put the box at the sender's plug with the same setting, switch on and read.",
        _PLUG,
        "What changes from the computer's connector to here is the wiring.",
        "Leave it out",
    ),
}

DONE = InPlaceCard(
    step=0,
    steps=len(Step),
    instruction="Everything is read. Look at the result, strike out what was read wrongly, and finish.",
    caution="Ignition off, box out, the sender's plug back on. Let the engine cool before you reach in.",
    why="A finished record is never changed; a new one can be made at any time.",
    skip="",
)


def card_of(step: Step | None) -> InPlaceCard:
    """Card of a step, or of the end."""
    if step is None:
        return DONE
    instruction, caution, why, skip = _CARDS[step]
    return InPlaceCard(
        step=1 + list(Step).index(step),
        steps=len(Step),
        instruction=instruction,
        caution=caution,
        why=why,
        skip=skip,
    )
