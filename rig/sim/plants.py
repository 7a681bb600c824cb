"""Faults put into the simulation on purpose, by name and size: ``series:22``."""

import math
import tomllib
from dataclasses import dataclass, fields
from enum import StrEnum
from importlib.resources import files
from typing import Any

from rig.errors import PlantError
from rig.sim.thermistor_law import NOMINAL_C, ThermistorLaw

SHORT_OHM = 0.05
WRONG_PART_BETA = 0.08
AGED_FLATTENS_BY = 0.2

Plant = tuple[str, float]


class Place(StrEnum):
    """Where a fault sits."""

    SENDER = "sender"  # goes out with the sender
    BATH = "bath"  # around the bath
    CHIP = "chip"  # in the bench's own parts


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantKind:
    """One kind of fault; the data stand in ``plants.toml``.

    Attributes
    ----------
    part : str
        What is faulty, as the self-test names it; ``{size}`` and ``{place}`` are filled in.
    size : float
        Size at which `selftest` holds.
    selftest : bool
        Whether the self-test sees it.
    effect : str
        Words.
    """

    name: str
    unit: str
    part: str
    place: Place
    field: str
    scale: float
    highest: float
    size: float
    selftest: bool
    effect: str
    lowest: float = 0.0
    choices: tuple[float, ...] | None = None

    @property
    def is_yes_or_no(self) -> bool:
        """Tell whether it is there or not, with nothing between."""
        return self.unit.startswith("yes")


@dataclass(frozen=True, slots=True, kw_only=True)
class Effects:
    """What planted faults do to the sender; all zero is healthy."""

    series_ohm: float = 0.0
    leakage_ohm: float = 0.0
    r25_shift: float = 0.0
    beta_shift: float = 0.0
    aged: float = 0.0
    wrong_part_ohm: float = 0.0
    intermittent: float = 0.0
    two_body: float = 0.0
    is_open: float = 0.0
    is_short: float = 0.0

    def shifted(self, law: ThermistorLaw) -> ThermistorLaw:
        """Law of the element with this fault."""
        if self.wrong_part_ohm:
            r25 = self.wrong_part_ohm / law.resistance_ohm(NOMINAL_C) - 1.0
            return law.with_shifts(r25=r25, beta=WRONG_PART_BETA)
        return law.with_shifts(
            r25=self.r25_shift + self.aged, beta=self.beta_shift - AGED_FLATTENS_BY * self.aged
        )

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


@dataclass(frozen=True, slots=True, kw_only=True)
class BathEffects:
    """What planted faults do around the bath. Shares of the view; `stratification` a share of (t - room)."""

    stratification: float = 0.0
    steam: float = 0.0
    spot_too_wide: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ChipEffects:
    """What planted faults do in the bench's own parts; all zero is healthy."""

    box_relay_stays_closed: float = 0.0
    box_relay_stays_open: float = 0.0
    place_never_closes: float = 0.0
    place_never_opens: float = 0.0
    relay_bounce_s: float = 0.0
    converter_missing: float = 0.0
    converter_frozen: float = 0.0
    converter_step: float = 0.0
    supply_noise: float = 0.0
    excitation_dead: float = 0.0
    reference_off: float = 0.0
    probe_reference_off: float = 0.0
    probe_open: float = 0.0
    box_missing: float = 0.0
    box_forgets: float = 0.0
    infrared_missing: float = 0.0
    infrared_timeout: float = 0.0
    infrared_pec: float = 0.0
    infrared_error_flag: float = 0.0
    infrared_frozen: float = 0.0
    infrared_emissivity: float = 0.0
    witness_missing: float = 0.0
    witness_crc: float = 0.0
    witness_power_on: float = 0.0
    witness_empty: float = 0.0
    witness_stale: float = 0.0
    witness_frozen: float = 0.0
    button_stuck: float = 0.0


_KIND_OF_EFFECTS: dict[Place, type] = {
    Place.SENDER: Effects,
    Place.BATH: BathEffects,
    Place.CHIP: ChipEffects,
}


def plant_kinds() -> dict[str, PlantKind]:
    """All kinds of faults, by name."""
    text = files("rig.sim").joinpath("plants.toml").read_text(encoding="utf-8")
    kinds = [_kind_of_table(table) for table in tomllib.loads(text)["plant"]]
    for kind in kinds:
        known = {field.name for field in fields(_KIND_OF_EFFECTS[kind.place])}
        if kind.field not in known:
            raise PlantError(f"plants.toml: {kind.name} has the field {kind.field!r}, which does not exist")
    return {kind.name: kind for kind in kinds}


def _kind_of_table(table: dict[str, Any]) -> PlantKind:
    choices = table.pop("choices", None)
    place = Place(table.pop("place"))
    return PlantKind(place=place, choices=None if choices is None else tuple(choices), **table)


PLANTS = plant_kinds()


def parse_plant(text: str) -> Plant:
    """Name and size of ``NAME[:SIZE]``; a size of 0 is no fault, none is the size of `PlantKind.size`.

    Raises
    ------
    PlantError
        If there is no such fault, or its size cannot be.
    """
    name, colon, size_text = text.strip().partition(":")
    kind = _kind(name)
    if not colon:
        return name, kind.size
    try:
        size = float(size_text)
    except ValueError as error:
        raise PlantError(
            f"{text!r}: write {name}:SIZE with the size in {kind.unit}, for example {name}:{kind.size:g}."
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
    if kind.is_yes_or_no and size not in (0.0, 1.0):
        raise PlantError(f"{name}:{size:g}: {name} is {kind.unit}, nothing between.")
    if kind.choices is not None and size not in kind.choices:
        known = ", ".join(f"{choice:g}" for choice in kind.choices if choice)
        raise PlantError(f"{name}:{size:g}: the size of {name} is one of {known} ({kind.unit}).")


def place_of(plant: Plant) -> Place:
    """Where a fault sits."""
    return _kind(plant[0]).place


_PLACES = ("nowhere", "sender", "probe", "series", "parallel")


def part_of(plant: Plant) -> str:
    """What is faulty, as the self-test would name it."""
    name, size = plant
    number = int(size) if 0 <= size < len(_PLACES) else 0
    return _kind(name).part.format(size=size, place=_PLACES[number])


def effects_of(plant: Plant | None) -> Effects:
    """What a fault does to the sender; healthy where it sits elsewhere."""
    return Effects(**_fields(plant, Place.SENDER))


def bath_effects_of(plant: Plant | None) -> BathEffects:
    """What a fault does around the bath."""
    return BathEffects(**_fields(plant, Place.BATH))


def chip_effects_of(plant: Plant | None) -> ChipEffects:
    """What a fault does in the bench's own parts."""
    return ChipEffects(**_fields(plant, Place.CHIP))


def _fields(plant: Plant | None, place: Place) -> dict[str, float]:
    if plant is None:
        return {}
    check_plant(plant)
    kind = _kind(plant[0])
    return {kind.field: plant[1] * kind.scale} if kind.place is place else {}


def _kind(name: str) -> PlantKind:
    if name not in PLANTS:
        raise PlantError(f"There is no fault called {name!r}. Choose one of {', '.join(sorted(PLANTS))}.")
    return PLANTS[name]
