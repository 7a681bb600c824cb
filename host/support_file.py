"""What somebody far away needs to help, in one file, without a password, a key or a customer in it.

Nothing is copied from the store but counts, settings and how the stations stand. The ends of the logs go
through `without_secrets`: what looks like a secret is taken out by its shape, and the names of customers,
items and people by what the store knows of them.
"""

import json
import platform
import re
import zipfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from host.data_folder import DataFolder
from host.desk_log import log_file
from host.errors import DeskError
from host.local_time import local_time
from host.software_versions import software_versions
from host.store import Store

_LOG_END_BYTES = 200_000
_TAKEN_OUT = "[taken out]"
#: Shorter than this, a name is too common a word to be taken out of a log.
_SHORTEST_NAME = 3
_SECRET_SHAPES = (
    re.compile(r"-----BEGIN [A-Z0-9 ]+-----.*?(?:-----END [A-Z0-9 ]+-----|\Z)", re.DOTALL),
    re.compile(r"^[A-Za-z0-9+/]{40,}={0,2}$", re.MULTILINE),  # a line of a key whose beginning was cut off
    re.compile(r"\$argon2\w*\$\S+"),
    re.compile(r"(?<=://)[^/\s@]+@"),
    re.compile(
        r"(?i)(?<![a-z])(?:pass(?:word|wd|phrase)?|secret|token|key|cookie|authorization)\s*[=:]\s*\S+"
    ),
    re.compile(r"(?<![\w/.-])(?=[\w-]*\d)(?=[\w-]*[A-Za-z])[\w-]{32,}(?![\w/.-])"),
)
_README = """\
What this file holds: versions, settings, counts of what is kept, how stations stand, the ends of the logs.
What it does not hold: readings, certificates, customers, people, passwords, keys, joining files.
Look through it before you send it: it is plain text.
"""


def write_support_file(folder: DataFolder, store: Store, file: Path) -> tuple[str, ...]:
    """Write the file; return the names of what is in it.

    Raises
    ------
    DeskError
        If it is there already.
    """
    names = tuple(_names_in(store))
    parts: dict[str, str] = {
        "README.txt": _README,
        "versions.json": _json({**dict(software_versions()), "platform": platform.platform()}),
        "settings.json": _json(store.settings.texts()),
        "store.json": _json(_store_facts(store)),
        "stations.json": _json(
            {"stations": [_station_facts(store, one.station) for one in store.stations.all()]}
        ),
    }
    for log in (
        log_file(folder.path),
        folder.broker / "broker.log",
        folder.path / "simulated-bench" / "rig.log",
    ):
        if log.exists():
            parts[f"logs/{log.name}"] = without_secrets(_end_of(log), names)
    try:
        with zipfile.ZipFile(file, "x", zipfile.ZIP_DEFLATED) as archive:
            for name, text in parts.items():
                archive.writestr(name, text)
    except FileExistsError as error:
        raise DeskError(f"{file} is there already: name a new file.") from error
    except OSError as error:
        raise DeskError(f"{file} cannot be written ({error.strerror}): name another file.") from error
    return tuple(parts)


def without_secrets(text: str, names: Iterable[str]) -> str:
    """Text with everything taken out that looks like a secret, and every one of ``names``."""
    for shape in _SECRET_SHAPES:
        text = shape.sub(_TAKEN_OUT, text)
    known = sorted({name for name in names if len(name) >= _SHORTEST_NAME}, key=len, reverse=True)
    if known:
        text = re.sub("|".join(re.escape(name) for name in known), _TAKEN_OUT, text, flags=re.IGNORECASE)
    return text


def _names_in(store: Store) -> Iterator[str]:
    """Customers, items and people that the store knows, wherever a run has written them down."""
    for run in store.runs.all():
        for field in ("customer", "customer_contact", "place", "item", "operator", "vehicle", "job"):
            text = run.settings.get(field)
            if isinstance(text, str) and text.strip():
                yield text.strip()


def _store_facts(store: Store) -> dict[str, Any]:
    last = store.backups.last()
    zone = store.settings.read().zone
    return {
        "schema": store.revision(),
        "store": store.identity.store,
        "epoch": store.identity.epoch,
        "rows": store.counts(),
        "last_backup": None if last is None else local_time(last.made_utc_s, zone),
        "open_runs": [
            {"run": run.number, "kind": str(run.kind), "station": run.station} for run in store.runs.open()
        ],
    }


def _station_facts(store: Store, station: str) -> dict[str, Any]:
    known = store.stations.get(station)
    newest = store.packs.recent(station, 1)
    boot = store.latest_boot(station)
    return {
        "station": station,
        "rig": known.rig,
        "copied_card": known.copied is not None,
        "boots": len(store.packs.watermarks(station)),
        "newest_boot": boot,
        "stored_to": None if boot is None else store.watermark(station, boot),
        "simulated": newest[0].simulated if newest else None,
        "newest_quality": {name: one.quality.value for name, one in newest[0].channels.items()}
        if newest
        else {},
        "kept_aside": len(store.aside.all(station)),
    }


def _end_of(log: Path) -> str:
    content = log.read_bytes()[-_LOG_END_BYTES:]
    return content.decode("utf-8", "replace")


def _json(content: dict[str, Any]) -> str:
    return json.dumps(content, ensure_ascii=False, indent=2)
