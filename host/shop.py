"""Who issues the paper: name and address of the shop, kept in shop.toml in the data folder."""

import tomllib
from dataclasses import dataclass
from pathlib import Path

from host.errors import DeskError


@dataclass(frozen=True, slots=True, kw_only=True)
class Shop:
    """The shop as printed on its certificates."""

    name: str = "Shop not named yet (shop.toml in the data folder)"
    address: str = ""


def shop_of(folder: Path) -> Shop:
    """Shop of a data folder; a shop without a name where nobody has written one down.

    Raises
    ------
    DeskError
        If shop.toml is there and cannot be read.
    """
    path = folder / "shop.toml"
    if not path.exists():
        return Shop()
    try:
        content = tomllib.loads(path.read_text("utf-8"))
        return Shop(name=str(content["name"]), address=str(content.get("address", "")))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, KeyError) as error:
        raise DeskError(f'{path}: {error}. It holds two lines: name = "…" and address = "…".') from error
