"""Who issues the paper."""

import tomllib
from dataclasses import dataclass
from pathlib import Path

from host.errors import DeskError


@dataclass(frozen=True, slots=True, kw_only=True)
class Shop:
    """The shop as printed on its certificates; one without a name issues none."""

    name: str = ""
    address: str = ""


def shop_in_file(path: Path) -> Shop | None:
    """Shop that version 0.1.0 kept in shop.toml; None where there is no such file.

    Raises
    ------
    DeskError
        If it is there and cannot be read.
    """
    if not path.exists():
        return None
    try:
        content = tomllib.loads(path.read_text("utf-8"))
        return Shop(name=str(content["name"]), address=str(content.get("address", "")))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, KeyError) as error:
        raise DeskError(f'{path}: {error}. It holds two lines: name = "…" and address = "…".') from error
