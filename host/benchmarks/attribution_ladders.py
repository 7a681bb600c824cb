"""The faults that the attribution benchmark plants, each from barely visible to gross."""

import math
from collections.abc import Callable
from dataclasses import dataclass

from calibration.diagnosis import DeadCircuit, Fault
from host.benchmarks.attribution_world import HAND_C, Planted

HAND, BENCH = "by hand", "bench"
#: Sizes, in units of the smallest nameable one.
MULTIPLES = (0.25, 0.5, 1.0, 2.0, 4.0, 8.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ladder:
    """Sizes of one fault for one way of measuring.

    Attributes
    ----------
    fault : Fault
    words : str
        With the direction.
    variant : str
        Which branch of the fault it is, as the diagnosis names it.
    smallest : float
        Smallest nameable size; a leakage in siemens.
    has_goal : bool
        Whether the method gives a smallest nameable size for it.
    planted : callable
        From a size to what is planted.
    shown : callable
        Size in words.
    most : float
        Largest multiple that still is this fault.
    """

    fault: Fault
    words: str
    variant: str
    smallest: float
    has_goal: bool
    planted: Callable[[float], Planted]
    shown: Callable[[float], str]
    most: float = math.inf

    def sizes(self, multiples: tuple[float, ...]) -> tuple[tuple[float, float], ...]:
        """Multiples and the sizes they are."""
        return tuple((multiple, multiple * self.smallest) for multiple in multiples if multiple <= self.most)


def _percent(size: float) -> str:
    return f"{100.0 * size:.3g} %"


def _ohm(size: float) -> str:
    return f"{size:.3g} Ω"


def _kilohm_of_siemens(size: float) -> str:
    return f"{1e-3 / size:.3g} kΩ"


def _kelvin(size: float) -> str:
    return f"{size:.3g} K"


def ladders(measured: str) -> tuple[Ladder, ...]:
    """Faults with a size; the smallest nameable ones are the method's, of its section 6."""
    by_hand = measured == HAND
    r25, beta = (0.10, 0.034) if by_hand else (0.08, 0.015)
    series, leakage = (52.0, 1.0 / 24e3) if by_hand else (2.6, 1.0 / 150e3)
    contact = () if by_hand else (
        Ladder(fault=Fault.INTERMITTENT, words="intermittent", variant="", smallest=1.0, has_goal=False,
               planted=lambda s: Planted(contact_ohm=s), shown=_ohm),
    )  # fmt: skip
    return (
        Ladder(fault=Fault.R25, words="R25 high", variant="high", smallest=r25, has_goal=True,
               planted=lambda s: Planted(r25=s), shown=_percent),
        Ladder(fault=Fault.R25, words="R25 low", variant="low", smallest=r25, has_goal=True,
               planted=lambda s: Planted(r25=-s), shown=_percent, most=4.0),
        Ladder(fault=Fault.BETA, words="beta steeper", variant="steeper", smallest=beta, has_goal=True,
               planted=lambda s: Planted(beta=s), shown=_percent, most=4.0),
        Ladder(fault=Fault.BETA, words="beta flatter", variant="flatter", smallest=beta, has_goal=True,
               planted=lambda s: Planted(beta=-s), shown=_percent, most=4.0),
        Ladder(fault=Fault.SERIES, words="series", variant="", smallest=series, has_goal=True,
               planted=lambda s: Planted(series_ohm=s), shown=_ohm),
        Ladder(fault=Fault.LEAKAGE, words="leakage", variant="", smallest=leakage, has_goal=True,
               planted=lambda s: Planted(leakage_ohm=1.0 / s), shown=_kilohm_of_siemens),
        Ladder(fault=Fault.STEM_OR_THERMOMETER, words="thermometer high", variant="thermometer high",
               smallest=1.5, has_goal=False, planted=lambda s: Planted(thermometer_k=s), shown=_kelvin,
               most=4.0),
        Ladder(fault=Fault.STEM_OR_THERMOMETER, words="thermometer low", variant="thermometer low",
               smallest=1.5, has_goal=False, planted=lambda s: Planted(thermometer_k=-s), shown=_kelvin,
               most=4.0),
        Ladder(fault=Fault.STEM_OR_THERMOMETER, words="stem", variant="stem", smallest=0.013, has_goal=False,
               planted=lambda s: Planted(stem_share=s), shown=_percent, most=2.0),
        *contact,
    )  # fmt: skip


def without_size(measured: str) -> tuple[tuple[Fault, str, str, Planted], ...]:
    """What has no size: fault, words, which of it, what is planted."""
    dead = (
        (Fault.OPEN, "open", "", Planted(circuit=DeadCircuit.OPEN)),
        (Fault.SHORT, "short", "", Planted(circuit=DeadCircuit.SHORT)),
    )
    sound = (
        (Fault.HEALTHY, "healthy", "", Planted()),
        (Fault.ANOTHER_CURVE, "another curve", "", Planted()),
    )
    if measured == BENCH:
        return (*sound, *dead)
    # Three points by hand show a contact that comes and goes only where it did between them.
    count = len(HAND_C)
    contacts = tuple(
        (Fault.INTERMITTENT, "intermittent", f"{n} of {count} open", Planted(open_readings=n))
        for n in range(1, count)
    )
    return (*sound, *dead, *contacts)
