"""The faults that may be named, and what the person at the bench should do next about each."""

from enum import StrEnum


class Fault(StrEnum):
    """A reason why a sender reads as it does."""

    HEALTHY = "healthy"
    R25 = "r25"
    BETA = "beta"
    SERIES = "series"
    LEAKAGE = "leakage"
    ANOTHER_CURVE = "another_curve"
    STEM_OR_THERMOMETER = "stem_or_thermometer"
    OPEN = "open"
    SHORT = "short"
    INTERMITTENT = "intermittent"
    NONE_OF_THESE = "none_of_these"
    CANNOT_TELL = "cannot_tell"

    @property
    def words(self) -> str:
        """The fault as it is said to a person."""
        return _WORDS[self]

    @property
    def next_action(self) -> str:
        """What would confirm it."""
        return _NEXT_ACTIONS[self]


_WORDS = {
    Fault.HEALTHY: "a good sender",
    Fault.R25: "the element's resistance is off by one share everywhere (R25 shifted)",
    Fault.BETA: "an aged element, its curve steeper or flatter (beta shifted)",
    Fault.SERIES: "resistance in series: a corroded terminal or a bad joint",
    Fault.LEAKAGE: "a parallel leakage: water or dirt between the terminals",
    Fault.ANOTHER_CURVE: "a part of another curve: the wrong sender",
    Fault.STEM_OR_THERMOMETER: "sender and thermometer not at one temperature, or the thermometer is off",
    Fault.OPEN: "an open circuit",
    Fault.SHORT: "a short circuit",
    Fault.INTERMITTENT: "an intermittent contact",
    Fault.NONE_OF_THESE: "something else, such as a part whose curve is not in the library",
    Fault.CANNOT_TELL: "cannot tell",
}

_NEXT_ACTIONS = {
    Fault.HEALTHY: "Refit it. If the display is still wrong, look at wiring, computer and gauge.",
    Fault.R25: (
        "Read the part number and measure once more near 25 °C with another meter; if it stays, replace "
        "the sender."
    ),
    Fault.BETA: (
        "Measure near 25 °C and near 95 °C again: good when cold and off when hot confirms it. Then replace "
        "the sender."
    ),
    Fault.SERIES: (
        "Clean the terminals, clip directly to the pins and measure the hottest point again: the same ohms "
        "should be gone."
    ),
    Fault.LEAKAGE: (
        "Dry and clean the connector, keep it above the water, and measure the coldest point again: the "
        "resistance should rise."
    ),
    Fault.ANOTHER_CURVE: (
        "Compare the part number with the vehicle's parts list, and check again against the curve named here."
    ),
    Fault.STEM_OR_THERMOMETER: (
        "Lift the sender by 10 mm and read again (a change is the stem), then lower it to above the hex; "
        "check the thermometer in melting ice."
    ),
    Fault.OPEN: "Clip to the pins themselves and move the connector: if it stays open, replace the sender.",
    Fault.SHORT: (
        "Unplug the connector and measure at the pins: if it stays, replace the sender; if not, find the "
        "bridge in plug or lead."
    ),
    Fault.INTERMITTENT: "Clean and tighten the connector and repeat the burst while moving it.",
    Fault.NONE_OF_THESE: (
        "Look for a mistyped or swapped point; identify the part with points at three or more temperatures."
    ),
    Fault.CANNOT_TELL: (
        "Measure again near 25 °C and as hot as the bath allows, with a surer thermometer and meter."
    ),
}

# What tells one of a pair from the other.
_DECIDING = {
    frozenset({Fault.SERIES, Fault.BETA}): (
        "Clip directly to the clean pins and measure the hottest point again: a series resistance goes, an "
        "aged element stays. By hand, a small series resistance looks like a shifted beta."
    ),
    frozenset({Fault.SERIES, Fault.HEALTHY}): (
        "Clip directly to the clean pins and measure the hottest point again: a series resistance goes."
    ),
    frozenset({Fault.LEAKAGE, Fault.HEALTHY}): (
        "Dry the connector, keep it above the water, and measure the coldest point again: a leakage goes."
    ),
    frozenset({Fault.R25, Fault.STEM_OR_THERMOMETER}): (
        "Check the thermometer in melting ice, hold its tip against the sender's, and measure again: a "
        "shifted element stays."
    ),
    frozenset({Fault.BETA, Fault.STEM_OR_THERMOMETER}): (
        "Lower the sender to above the hex, hold the thermometer's tip against it, and measure the hottest "
        "point again: an aged element stays."
    ),
    frozenset({Fault.LEAKAGE, Fault.STEM_OR_THERMOMETER}): (
        "Dry the connector and keep it above the water, check the thermometer in melting ice, and measure "
        "the coldest point again: a leakage goes."
    ),
}


def action_between(*likely: Fault) -> str:
    """What would decide between the likeliest faults."""
    return _DECIDING.get(frozenset(likely), Fault.CANNOT_TELL.next_action)
