"""What a person would do at the simulated bath: turn the heater, pour water, hang another sender in."""

from collections.abc import Mapping
from typing import Any

from rig.errors import HandsRefused, PlantError
from rig.sim.plants import Place, Plant, parse_plant, place_of
from rig.sim.world import World

HEATER_SPAN_C = (20.0, 98.0)
WATER_SPAN_C = (1.0, 95.0)
DRAW_OUT_SPAN_MM = (0.0, 20.0)
DEEDS = ("heater", "fresh_water", "fit_sender", "draw_out", "places", "plant", "ice", "fit_artefact")


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
        place, until fresh water is poured. ``{"do": "draw_out", "by_mm": 15}`` draws the sender out of its
        working depth, 0 lowers it again; ``{"do": "places", "changed": true}`` hangs sender and probe in each
        other's first place, false in their own. ``{"do": "fit_artefact", "plant": null}`` clips the plain
        resistor in where the sender goes, until a sender is fitted; its plant sits in the clips.

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
        case {"do": "fit_artefact", "plant": plant, **rest} if not rest:
            world.fit_artefact(_plant(plant))
        case {"do": "draw_out", "by_mm": by_mm, **rest} if not rest:
            world.draw_out(_drawn_out(by_mm))
        case {"do": "places", "changed": bool(changed), **rest} if not rest:
            world.change_places(changed)
        case {"do": "ice", **rest} if not rest:
            world.ice_slush()
        case {"do": "plant", "plant": plant, **rest} if not rest:
            world.plant_in_bench(_bench_plant(plant))
        case {"do": deed} if deed in DEEDS:
            raise HandsRefused(f"{deed} came with fields that do not fit it: {_words(fields)}.")
        case _:
            raise HandsRefused(f"These hands can do {', '.join(DEEDS)}, not this: {_words(fields)}.")


def _temperature(value: Any, span_c: tuple[float, float], what: str) -> float:
    return _number(value, span_c, what, "°C")


def _drawn_out(value: Any) -> float:
    return _number(value, DRAW_OUT_SPAN_MM, "The sender can be drawn out", "mm")


def _number(value: Any, span: tuple[float, float], what: str, unit: str) -> float:
    low, high = span
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise HandsRefused(f"{what} from {low:g} to {high:g} {unit}, not to {value!r:.20}.")
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
