"""A plain resistor that goes round the stations: the same one at every simulated bench of that value."""

from rig.errors import PlantError
from rig.sim.chance import generator

#: What the sender's channel can report, and a shop has lying about. All that is here is invented. [Ω]
SPAN_OHM = (60.0, 20_000.0)
#: A resistor is within this of what is printed on it. [1]
OFF_NOMINAL = 1e-3
#: U of its certificate, k = 2. [1]
U_RELATIVE = 2e-4
# The truth lies within half of that.
_INSIDE = 0.5


def check_artefact(nominal_ohm: float) -> float:
    """The value itself. [Ω]

    Raises
    ------
    PlantError
        If no such resistor can be read here.
    """
    low, high = SPAN_OHM
    if not low <= nominal_ohm <= high:
        raise PlantError(f"An artefact has {low:g} to {high:g} Ω here, not {nominal_ohm:g} Ω.")
    return nominal_ohm


def true_ohm(nominal_ohm: float) -> float:
    """What it has in truth; drawn by its value alone, so that every bench holds the same one. [Ω]"""
    chance = generator(0, "artefact", round(1000.0 * nominal_ohm))
    return nominal_ohm * (1.0 + OFF_NOMINAL * chance.uniform(-1.0, 1.0))


def certified_ohm(nominal_ohm: float) -> float:
    """What its certificate says. [Ω]"""
    chance = generator(1, "artefact", round(1000.0 * nominal_ohm))
    return true_ohm(nominal_ohm) * (1.0 + _INSIDE * U_RELATIVE * chance.uniform(-1.0, 1.0))
