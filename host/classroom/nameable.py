"""The faults that an exercise may plant and a student may name, with the unit of their size.

The desk shares no code with the rig: names and spans of what simulated silicon can do stand here again, and a
test holds the two together.
"""

from dataclasses import dataclass

from calibration.contract.readings import Insertion
from calibration.diagnosis.fault import Fault
from host.errors import DeskError


@dataclass(frozen=True, slots=True, kw_only=True)
class NameableFault:
    """One fault.

    Attributes
    ----------
    key : str
        A word of `Fault`.
    words : str
        As a student reads it.
    unit : str
        Of its size; empty where a student is asked for none.
    plant : str
        Its name in simulation; empty where it cannot be planted by name.
    plant_unit : str
        Unit of the size that is planted, where a student is asked for none.
    lowest, highest : float
        Sizes that can be planted. [unit]
    box : Insertion or None
        Where the decade box stands in for it on metal; None where it cannot.
    is_of_no_sender : bool
        Whether it sits outside the sender, so that no bench plants it and a table on paper alone can show it.
    """

    key: str
    words: str
    unit: str = ""
    plant: str = ""
    plant_unit: str = ""
    lowest: float = 1.0
    highest: float = 1.0
    box: Insertion | None = None
    is_of_no_sender: bool = False

    @property
    def is_plantable(self) -> bool:
        """Whether an exercise may be made of it, in one way at least."""
        return bool(self.plant) or self.is_of_no_sender or self.key == NOTHING

    @property
    def has_size(self) -> bool:
        """Whether a student is asked how large it is."""
        return bool(self.unit)

    @property
    def wants_size(self) -> bool:
        """Whether whoever plants it says how large."""
        return bool(self.unit or self.plant_unit)


NOTHING = "healthy"

#: In the order in which a form lists them.
FAULTS = {
    fault.key: fault
    for fault in (
        NameableFault(key=Fault.HEALTHY, words="Nothing is wrong with the sender"),
        NameableFault(
            key=Fault.SERIES,
            words="Resistance in series: a corroded terminal or a bad joint",
            unit="Ω",
            plant="series",
            lowest=1.0,
            highest=10_000.0,
            box=Insertion.SERIES,
        ),
        NameableFault(
            key=Fault.LEAKAGE,
            words="A path across the terminals: water or dirt in the connector",
            unit="kΩ",
            plant="leakage",
            lowest=0.1,
            highest=1000.0,
            box=Insertion.PARALLEL,
        ),
        NameableFault(
            key=Fault.R25,
            words="The element is off by one share everywhere (R25 shifted)",
            unit="%",
            plant="r25_shift",
            lowest=-50.0,
            highest=100.0,
        ),
        NameableFault(
            key=Fault.BETA,
            words="The element’s curve is too steep or too flat (beta shifted)",
            unit="%",
            plant="beta_shift",
            lowest=-30.0,
            highest=30.0,
        ),
        NameableFault(
            key=Fault.ANOTHER_CURVE,
            words="A sender of another curve: the wrong part",
            plant="wrong_part",
            plant_unit="kΩ at 25 °C",
            lowest=0.1,
            highest=100.0,
        ),
        NameableFault(
            key=Fault.INTERMITTENT,
            words="A contact that opens now and then",
            plant="intermittent",
            plant_unit="% of the time",
            lowest=1.0,
            highest=100.0,
        ),
        NameableFault(key=Fault.OPEN, words="An open circuit: a broken wire or element", plant="open"),
        NameableFault(key=Fault.SHORT, words="A short circuit: terminals bridged", plant="short"),
        NameableFault(
            key=Fault.STEM_OR_THERMOMETER,
            words="Sender and thermometer not at one temperature, or the thermometer is off",
            plant_unit="K too high on the thermometer",
            lowest=-10.0,
            highest=10.0,
            is_of_no_sender=True,
        ),
    )
}

#: Units in which a size may be answered, with what turns them into the unit of a fault.
UNITS = ("Ω", "kΩ", "%")
_IN_OHM = {"Ω": 1.0, "kΩ": 1000.0}


def plantable() -> tuple[NameableFault, ...]:
    """Faults that can be planted, and none at all."""
    return tuple(fault for fault in FAULTS.values() if fault.is_plantable)


def size_in(unit: str, size: float, written_unit: str) -> float | None:
    """Size in another unit; None where the two do not measure the same."""
    if unit == written_unit:
        return size
    if unit in _IN_OHM and written_unit in _IN_OHM:
        return size * _IN_OHM[written_unit] / _IN_OHM[unit]
    return None


def checked_size(fault: NameableFault, size: float | None, *, box_highest_ohm: float | None = None) -> float:
    """Size as it can be planted.

    Parameters
    ----------
    box_highest_ohm : float, optional
        The most that the decade box can be set to, where it stands in for the fault. [Ω]

    Raises
    ------
    DeskError
        If it cannot be; names the limits.
    """
    unit = fault.unit or fault.plant_unit
    if not fault.wants_size:
        return 1.0
    if size is None:
        raise DeskError(f"Write the size of the fault, in {unit}.")
    lowest, highest = fault.lowest, fault.highest
    if box_highest_ohm is not None:
        highest = min(highest, box_highest_ohm / _IN_OHM[fault.unit])
    if not lowest <= size <= highest or size == 0.0:
        raise DeskError(f"The size of this fault goes from {lowest:g} to {highest:g} {unit}, without 0.")
    if box_highest_ohm is not None and not (size * _IN_OHM[fault.unit]).is_integer():
        raise DeskError("The decade box goes in steps of 1 Ω: write a whole number of ohms.")
    return size
