"""The faults that may be named, and what the person at the bench should do next about each."""

from enum import StrEnum

#: Variants of what is not listed: points that run like a thermistor's, and points that run like none's.
UNLISTED_PART, SCATTERED = "a part that is not listed", "points that follow no thermistor"
#: Variant of an intermittent circuit, by hand: open at the coldest points alone, as a meter out of range is.
OPEN_WHEN_COLD = "open when cold"
#: Variant of an intermittent circuit: seen in a burst.
IN_A_BURST = "seen while the connector was moved"


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

    def next_action(self, variant: str = "") -> str:
        """What would confirm it; some variants have an action of their own."""
        return _ACTIONS_OF_VARIANTS.get((self, variant), _NEXT_ACTIONS[self])


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
    Fault.INTERMITTENT: (
        "Clean and tighten the connector, clip to the pins themselves, and measure while you move connector "
        "and lead: if it still comes and goes, replace the sender."
    ),
    Fault.NONE_OF_THESE: (
        "Look for a mistyped or swapped point and for ohms taken for kilohms, and measure each point once "
        "more."
    ),
    Fault.CANNOT_TELL: (
        "Measure again near 25 °C and as hot as the bath allows, with a surer thermometer and meter."
    ),
}

_ACTIONS_OF_VARIANTS = {
    (Fault.NONE_OF_THESE, UNLISTED_PART): (
        "The points run like a thermistor of another curve: compare the part number with the parts list, "
        "rank the known curves by three or more points (ohmbath identify), or add the part's own curve from "
        "a manual."
    ),
    (Fault.INTERMITTENT, OPEN_WHEN_COLD): (
        "Set the meter to a higher range and read the cold points again: a meter out of range shows an open "
        f"circuit too. If it stays: {_NEXT_ACTIONS[Fault.INTERMITTENT][0].lower()}"
        f"{_NEXT_ACTIONS[Fault.INTERMITTENT][1:]}"
    ),
    (Fault.INTERMITTENT, IN_A_BURST): (
        "Clean and tighten the connector and repeat the burst while moving it. Results read over a loose "
        "contact do not hold: run the check again afterwards."
    ),
}

_SHAKE = (
    "Measure for longer while you move connector and lead all the time: what comes and goes is the contact, "
    "what stays is the sender."
)

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
    frozenset({Fault.HEALTHY, Fault.R25}): (
        "Measure near 25 °C again with another meter and a surer thermometer: a shifted element stays, and "
        "by the same share when hot."
    ),
    frozenset({Fault.HEALTHY, Fault.BETA}): (
        "Measure near 25 °C and as hot as the bath allows with a surer thermometer: an aged element is good "
        "when cold and off when hot."
    ),
    frozenset({Fault.HEALTHY, Fault.STEM_OR_THERMOMETER}): (
        "Check the thermometer in melting ice, lower the sender to above the hex, hold the thermometer's tip "
        "against it, and measure again: a good sender comes within its limits."
    ),
    frozenset({Fault.R25, Fault.BETA}): (
        "Measure near 25 °C and near 95 °C again with a surer thermometer: R25 is off by one share at both, "
        "an aged element when hot alone."
    ),
    frozenset({Fault.SERIES, Fault.STEM_OR_THERMOMETER}): (
        "Clip directly to the clean pins and measure the hottest point again, the thermometer's tip against "
        "the sender: a series resistance goes with the clips, a stem with the depth."
    ),
    frozenset({Fault.SERIES, Fault.R25}): (
        "Clip directly to the clean pins and measure the hottest point again: a series resistance goes, a "
        "shifted element stays."
    ),
    frozenset({Fault.LEAKAGE, Fault.R25}): (
        "Dry the connector, keep it above the water, and measure the coldest point again: a leakage goes, a "
        "shifted element stays."
    ),
    frozenset({Fault.LEAKAGE, Fault.BETA}): (
        "Dry the connector, keep it above the water, and measure the coldest point again: a leakage goes, an "
        "aged element stays."
    ),
    frozenset({Fault.BETA, Fault.ANOTHER_CURVE}): (
        "Compare the part number with the vehicle's parts list: it tells a part of another curve from an "
        "aged one."
    ),
    frozenset({Fault.R25, Fault.ANOTHER_CURVE}): (
        "Compare the part number with the vehicle's parts list: it tells a part of another curve from a "
        "shifted one."
    ),
}


def action_between(*likely: Fault) -> str:
    """What would decide between the likeliest faults."""
    if Fault.INTERMITTENT in likely:
        return _SHAKE
    return _DECIDING.get(frozenset(likely), Fault.CANNOT_TELL.next_action())
