"""The steps that set a sender up in its bath, one instruction at a time (how to measure: immersion first)."""

from dataclasses import dataclass

#: Water to the hex or not decides what the stem is taken to lose; the words are keys of `IMMERSIONS`.
HEX_UNDER_WATER, HEX_IN_AIR = "hex_under_water", "hex_in_air"


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUpStep:
    """One step of setting up.

    Attributes
    ----------
    instruction, caution : str
    button : str
        What the person says by pressing.
    answer : str
        What the press declares, empty where it only says done.
    other_button, other_answer : str
        A second way to answer, empty where there is none.
    declares : str
        What a certificate may say of it; empty where the answer says it.
    """

    instruction: str
    caution: str
    button: str
    answer: str = ""
    other_button: str = ""
    other_answer: str = ""
    declares: str = ""


#: By name, in the order in which hands do them; a run keeps the names with its settings.
SET_UP_STEPS = {
    "immersion": SetUpStep(
        instruction="Put the boot on and lower the sender until the water stands above its hex.",
        caution="The heater must be off while your hands are in the jug.",
        button="Hex under water",
        answer=HEX_UNDER_WATER,
        other_button="It only reaches 25 mm deep, hex in air",
        other_answer=HEX_IN_AIR,
    ),
    "distances": SetUpStep(
        instruction="Leave 20 mm or more from the sender’s tip to wall and heater, and the probe close by.",
        caution="Neither may touch the heater: it burns through leads.",
        button="20 mm all round",
        declares="20 mm clear of wall and heater",
    ),
    "bubbles": SetUpStep(
        instruction="Tap sender and probe until no air bubble clings to them.",
        caution="Tap gently: glass and ceramic break.",
        button="No bubbles",
        declares="no air bubbles",
    ),
    "dry": SetUpStep(
        instruction="Look at the terminals: dry, and above the water.",
        caution="A wet connector leaks current and reads hot. Wipe it; do not blow into it.",
        button="They are dry",
        declares="terminals dry",
    ),
}
