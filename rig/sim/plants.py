"""Faults put into the simulated sender on purpose, by name and size: ``series:22``."""

import math
import tomllib
from dataclasses import dataclass, fields
from importlib.resources import files

from rig.errors import PlantError
from rig.sim.thermistor_law import ThermistorLaw

SHORT_OHM = 0.05

Plant = tuple[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantKind:
    """One kind of fault; the data stand in ``plants.toml``."""

    name: str
    unit: str
    part: str
    effect: str
    scale: float
    highest: float
    words: str
    lowest: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Effects:
    """What planted faults do to the resistance between the sender's terminals; all zero is healthy."""

    series_ohm: float = 0.0
    leakage_ohm: float = 0.0
    r25_shift: float = 0.0
    beta_shift: float = 0.0
    is_open: float = 0.0
    is_short: float = 0.0

    def shifted(self, law: ThermistorLaw) -> ThermistorLaw:
        """Law of the element with this fault."""
        return law.with_shifts(r25=self.r25_shift, beta=self.beta_shift)

    def terminal_ohm(self, element_ohm: float) -> float:
        """Resistance between the terminals: element with its leakage, then what is in series. [Ω]"""
        if self.is_open:
            return math.inf
        if self.is_short:
            return SHORT_OHM
        inside_ohm = element_ohm
        if self.leakage_ohm:
            inside_ohm = element_ohm * self.leakage_ohm / (element_ohm + self.leakage_ohm)
        return inside_ohm + self.series_ohm


def plant_kinds() -> dict[str, PlantKind]:
    """All kinds of faults, by name."""
    text = files("rig.sim").joinpath("plants.toml").read_text(encoding="utf-8")
    kinds = [PlantKind(**table) for table in tomllib.loads(text)["plant"]]
    known = {field.name for field in fields(Effects)}
    for kind in kinds:
        if kind.effect not in known:
            raise PlantError(f"plants.toml: {kind.name} has the effect {kind.effect!r}, which does not exist")
    return {kind.name: kind for kind in kinds}


PLANTS = plant_kinds()


def parse_plant(text: str) -> Plant:
    """Name and size of ``NAME:SIZE``; a size of 0 is no fault.

    Raises
    ------
    PlantError
        If there is no such fault, or its size cannot be.
    """
    name, colon, size_text = text.strip().partition(":")
    kind = _kind(name)
    if not colon and kind.highest == 1.0:
        return name, 1.0  # open and short need no size
    try:
        size = float(size_text)
    except ValueError as error:
        raise PlantError(
            f"{text!r}: write {name}:SIZE with the size in {kind.unit}, for example {name}:10."
        ) from error
    check_plant((name, size))
    return name, size


def check_plant(plant: Plant) -> None:
    """Refuse a fault that cannot be.

    Raises
    ------
    PlantError
        If there is no such fault, or its size cannot be.
    """
    name, size = plant
    kind = _kind(name)
    if not kind.lowest <= size <= kind.highest:
        raise PlantError(
            f"{name}:{size:g}: the size of {name} goes from {kind.lowest:g} to {kind.highest:g} {kind.unit}."
        )
    if kind.highest == 1.0 and size not in (0.0, 1.0):
        raise PlantError(f"{name}:{size:g}: {name} is {kind.unit}, nothing between.")


def effects_of(plant: Plant | None) -> Effects:
    """What a fault does; None is a healthy sender."""
    if plant is None:
        return Effects()
    check_plant(plant)
    kind = _kind(plant[0])
    return Effects(**{kind.effect: plant[1] * kind.scale})


def _kind(name: str) -> PlantKind:
    if name not in PLANTS:
        raise PlantError(f"There is no fault called {name!r}. Choose one of {', '.join(sorted(PLANTS))}.")
    return PLANTS[name]
