"""What a person would do at the simulated bath: turn the heater, pour water, hang another sender in."""

from collections.abc import Mapping
from typing import Any

from rig.errors import HandsRefused, PlantError
from rig.sim.plants import Place, Plant, parse_plant, place_of
from rig.sim.world import World

HEATER_SPAN_C = (20.0, 98.0)
WATER_SPAN_C = (1.0, 95.0)
DEEDS = ("heater", "fresh_water", "fit_sender", "plant", "ice")


def do_by_hand(world: World, fields: Mapping[str, Any]) -> None:
    """Carry out one deed.

    Parameters
    ----------
    world : World
        The bath it is done to.
    fields : Mapping
        ``{"do": "heater", "temperature_c": 60}``, ``{"do": "heater", "off": true}``,
        ``{"do": "fresh_water", "temperature_c": 22}`` or ``{"do": "fit_sender", "plant": "series:22"}``;
        a plant of null is a healthy sender. ``{"do": "plant", "plant": "infrared_pec"}`` plants a fault in
        the bench itself or around the bath, null repairs it. ``{"do": "ice"}`` puts a slush of ice in its
        place, until fresh water is poured.

    Raises
    ------
    HandsRefused
        For anything else; nothing has changed.
    """
    match dict(fields):
        case {"do": "heater", "off": True, **rest} if not rest:
            world.set_heater(None)
        case {"do": "heater", "temperature_c": temperature_c, **rest} if not rest:
            world.set_heater(_temperature(temperature_c, HEATER_SPAN_C, "The thermostat can be set"))
        case {"do": "fresh_water", "temperature_c": temperature_c, **rest} if not rest:
            world.fresh_water(_temperature(temperature_c, WATER_SPAN_C, "Water can be poured in"))
        case {"do": "fit_sender", "plant": plant, **rest} if not rest:
            world.fit_sender(_plant(plant))
        case {"do": "ice", **rest} if not rest:
            world.ice_slush()
        case {"do": "plant", "plant": plant, **rest} if not rest:
            world.plant_in_bench(_bench_plant(plant))
        case {"do": deed} if deed in DEEDS:
            raise HandsRefused(f"{deed} came with fields that do not fit it: {_words(fields)}.")
        case _:
            raise HandsRefused(f"These hands can do {', '.join(DEEDS)}, not this: {_words(fields)}.")


def _temperature(value: Any, span_c: tuple[float, float], what: str) -> float:
    low_c, high_c = span_c
    if isinstance(value, bool) or not isinstance(value, int | float) or not low_c <= value <= high_c:
        raise HandsRefused(f"{what} from {low_c:g} to {high_c:g} °C, not to {value!r:.20}.")
    return float(value)


def _plant(value: Any) -> Plant | None:
    if value is None:
        return None
    if not isinstance(value, str):
        raise HandsRefused(f"A plant is text like series:22, or null, not {value!r:.20}.")
    try:
        return parse_plant(value)
    except PlantError as error:
        raise HandsRefused(str(error)) from error


def _bench_plant(value: Any) -> Plant | None:
    plant = _plant(value)
    if plant is not None and place_of(plant) is Place.SENDER:
        raise HandsRefused(f"{plant[0]} sits in a sender: say fit_sender with it.")
    return plant


def _words(fields: Mapping[str, Any]) -> str:
    return f"{dict(fields)!r:.120}"
