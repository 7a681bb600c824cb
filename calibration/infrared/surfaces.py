"""Emissivities offered as defaults, each with the word of its source."""

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

from calibration.infrared.emissivity import LOWEST_EMISSIVITY, Surface
from calibration.infrared.errors import InfraredError

#: Where a table prints one value: its doubt, by comparison with tape or a cavity.
SINGLE_VALUE_HALF_WIDTH = 0.02

_HANDHELD_SPECTRUM = "8 to 14 µm"


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownSurface:
    """A row of a printed table.

    Attributes
    ----------
    name : str
    spectrum : str
        What the value is good for; ``total`` is all wavelengths.
    temperature : str
        Of the surface, as printed; empty where none is.
    lowest, highest : float
        As printed; the same where one value is.
    source : str
        Whose word it is.
    """

    name: str
    spectrum: str
    temperature: str
    lowest: float
    highest: float
    source: str

    @property
    def emissivity(self) -> float:
        """Middle of the printed span."""
        return 0.5 * (self.lowest + self.highest)

    @property
    def half_width(self) -> float:
        """Half the printed span, and no less than what one value is trusted to."""
        return max(0.5 * (self.highest - self.lowest), SINGLE_VALUE_HALF_WIDTH)

    @property
    def surface(self) -> Surface:
        """As a default for a shot.

        Raises
        ------
        InfraredError
            If the row is that of a mirror.
        """
        if self.lowest < LOWEST_EMISSIVITY:
            raise InfraredError(
                f"{self.name}: emissivity {self.lowest:g} to {self.highest:g}. It mirrors the room and shows "
                "nothing of itself: stick vinyl tape on it, or paint it matt black, and choose that."
            )
        return Surface(emissivity=self.emissivity, half_width=self.half_width)


@lru_cache(maxsize=1)
def known_surfaces() -> tuple[KnownSurface, ...]:
    """All rows, in the order of the file."""
    file = resources.files(__package__) / "surfaces.toml"
    table = tomllib.loads(file.read_text(encoding="utf-8"))
    return tuple(
        KnownSurface(
            name=row["name"],
            spectrum=row["spectrum"],
            temperature=row.get("temperature", ""),
            lowest=float(row["lowest"]),
            highest=float(row["highest"]),
            source=table["sources"][row["source"]],
        )
        for row in table["surface"]
    )


def known_surface(name: str) -> KnownSurface:
    """Row of that name for the usual thermometer band; failing that, the first of that name.

    Raises
    ------
    InfraredError
        If there is none; names those that come near.
    """
    asked = name.strip().casefold()
    found = [row for row in known_surfaces() if row.name.casefold() == asked]
    if not found:
        near = sorted({row.name for row in known_surfaces() if set(asked.split()) & set(row.name.split())})
        hint = (
            f"Near it: {'; '.join(near)}." if near else "`ohmbath infrared --surfaces` lists those there are."
        )
        raise InfraredError(f"No surface is named {name!r}. {hint}")
    return min(found, key=lambda row: row.spectrum != _HANDHELD_SPECTRUM)
