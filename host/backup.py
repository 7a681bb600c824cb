"""One file with everything a desk keeps, made while it works, and a new data folder made from such a file.

The file is a ZIP of the store and of what is to be known of it before it is opened. It holds customers'
names and what passwords are checked against, so only its owner may read it. Keys and passwords of
brokers are not in it: they are not in the store.
"""

import hashlib
import json
import os
import shutil
import sqlite3
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import asdict, dataclass
from importlib.metadata import version
from pathlib import Path
from typing import IO

from host.data_folder import DataFolder
from host.errors import DeskError
from host.store import Store, open_store
from host.store.chain_link import BRINGS_A_CERTIFICATE
from host.store.upgrade import is_known_revision

_STORE, _MANIFEST = "store.sqlite", "backup.json"
_FORMAT = 2
#: Those that can still be read; format 1 had no chain of certificates.
_READABLE = frozenset({1, _FORMAT})
_DAY_S = 86_400.0
_LARGEST_MANIFEST = 100_000  # [byte]
#: A backup older than this is asked for anew.
REMIND_AFTER_S = 7 * _DAY_S


class BackupError(DeskError):
    """A backup that cannot be made, or a file that cannot be restored from."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """What a backup says of itself.

    Attributes
    ----------
    made_utc_s : float
        [s]
    made_by : str
        Version of the program.
    revision : str
        Schema of the store.
    store, epoch : str, int
        Who the store is.
    last_certificate : str
        Number of the newest certificate in it, empty where there is none.
    sha256 : str
        Digest of the store's file.
    head : str
        Head of the chain of certificates; empty where there is none.
    """

    made_utc_s: float
    made_by: str
    revision: str
    store: str
    epoch: int
    last_certificate: str
    sha256: str
    head: str = ""
    format: int = _FORMAT


def make_backup(folder: DataFolder, store: Store, file: Path) -> Manifest:
    """Write a backup, read it back, and remember that it was made.

    Raises
    ------
    BackupError
        If the file is there already or does not come out whole.
    """
    if not store.is_file:
        raise BackupError(
            "This store is on a PostgreSQL server: back it up there, with pg_dump, on a schedule."
        )
    if file.exists():
        raise BackupError(f"{file} is there already: name a new file, for example one with today's date.")
    if not file.absolute().parent.is_dir():
        raise BackupError(f"There is no folder {file.absolute().parent}: make it, or name another file.")
    at_utc_s = store.now()
    part = file.with_name(f"{file.name}.part")
    with tempfile.TemporaryDirectory(dir=file.absolute().parent, prefix=".backup-") as beside:
        copy = Path(beside) / _STORE
        _copy_online(folder.store, copy)
        manifest = _manifest_of(copy, at_utc_s)
        part.unlink(missing_ok=True)
        part.touch(mode=0o600)
        with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as archive:
            archive.writestr(_MANIFEST, json.dumps(asdict(manifest), indent=2))
            archive.write(copy, _STORE)
        try:
            with _opened(part):
                pass
            os.replace(part, file)
        finally:
            part.unlink(missing_ok=True)
    store.backups.note(file.name, manifest.sha256)
    return manifest


def restore_backup(file: Path, folder: Path) -> tuple[Manifest, int]:
    """Make a data folder from a backup; it goes on in a new epoch (protocol, rule 14).

    Returns
    -------
    Manifest
        Of the backup.
    int
        The epoch that begins.

    Raises
    ------
    BackupError
        If the folder holds something, or the file is no whole backup of a version that is known here.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise BackupError(f"{folder} is not empty, and a restore overwrites nothing: name a new folder.")
    with _opened(file) as (manifest, stored):
        if not is_known_revision(manifest.revision):
            raise BackupError(
                f"{file} was made by version {manifest.made_by}, which is newer than this one: upgrade first."
            )
        new = DataFolder(folder).lock()
        try:
            with new.store.open("xb") as target:
                os.chmod(new.store, 0o600)
                shutil.copyfileobj(stored, target)
                target.flush()
                os.fsync(target.fileno())
            _check_whole(new.store)
            store = open_store(new)
            try:
                epoch = store.identity.raise_epoch()
                store.chain.open_series(epoch)
                for number, _run, _data in store.certificates.data():
                    store.certificates.path(number)
            finally:
                store.close()
        except BaseException:
            new.unlock()
            shutil.rmtree(folder)  # it was empty before, and half a store must not look like a whole one
            raise
        new.unlock()
    return manifest, epoch


def reminder(store: Store, now_utc_s: float) -> str | None:
    """Words for the first page where a backup is due; None where none is, or nothing is worth keeping."""
    if not store.is_file:  # a server has a schedule of its own
        return None
    last = store.backups.last()
    since_utc_s = _worth_keeping_since(store) if last is None else last.made_utc_s
    if since_utc_s is None or now_utc_s - since_utc_s < REMIND_AFTER_S:
        return None
    days = int((now_utc_s - since_utc_s) // _DAY_S)
    said = f"The last backup is {days} days old." if last else f"The work of {days} days has no backup."
    return f"{said} Run 'ohmbath backup FILE' and keep the file on another machine."


def _worth_keeping_since(store: Store) -> float | None:
    """When the first thing came in that a simulated bench cannot make again. [s]"""
    instruments = [one.added_utc_s for one in store.register.all() if not one.simulated]
    runs = [
        run.started_utc_s
        for run in store.runs.all()
        if not dict(run.settings.get("probe") or {}).get("simulated", False)
    ]
    return min((*instruments, *runs), default=None)


def _copy_online(source: Path, target: Path) -> None:
    with (
        closing(sqlite3.connect(f"{source.as_uri()}?mode=ro", uri=True)) as reading,
        closing(sqlite3.connect(target)) as writing,
    ):
        reading.backup(writing)  # in one step: a consistent copy, while the desk goes on writing
        writing.execute("PRAGMA journal_mode=DELETE")
    _check_whole(target)


def _check_whole(path: Path) -> None:
    try:
        with closing(sqlite3.connect(path)) as connection:
            found = connection.execute("PRAGMA integrity_check").fetchone()[0]
            broken = connection.execute("PRAGMA foreign_key_check").fetchone()
    except sqlite3.DatabaseError as error:
        raise BackupError(f"The store in it is damaged ({error}): take an older backup.") from error
    if found != "ok" or broken is not None:
        raise BackupError("The store in it is damaged: take an older backup.")


def _manifest_of(copy: Path, at_utc_s: float) -> Manifest:
    with closing(sqlite3.connect(copy)) as connection:
        revision = connection.execute("SELECT version_num FROM alembic_version").fetchone()[0]
        store, epoch = connection.execute("SELECT store, epoch FROM identity").fetchone()
        kinds = ", ".join(f"'{kind.value}'" for kind in BRINGS_A_CERTIFICATE)
        last = connection.execute(
            f"SELECT number FROM chain WHERE kind IN ({kinds}) ORDER BY link DESC LIMIT 1"
        ).fetchone()
        head = connection.execute("SELECT head FROM chain ORDER BY link DESC LIMIT 1").fetchone()
    with copy.open("rb") as content:
        digest = hashlib.file_digest(content, "sha256").hexdigest()
    return Manifest(
        made_utc_s=at_utc_s,
        made_by=version("ohmbath"),
        revision=revision,
        store=store,
        epoch=epoch,
        last_certificate=last[0] if last else "",
        sha256=digest,
        head=head[0] if head else "",
    )


@contextmanager
def _opened(file: Path) -> Iterator[tuple[Manifest, IO[bytes]]]:
    """Manifest of a backup and the store in it, after every byte of it was checked."""
    try:
        with zipfile.ZipFile(file) as archive:
            if archive.getinfo(_MANIFEST).file_size > _LARGEST_MANIFEST:
                raise BackupError(f"{file} is no backup of a desk: what it says of itself is far too long.")
            manifest = _read_manifest(archive.read(_MANIFEST))
            with archive.open(_STORE) as stored:
                digest = hashlib.sha256()
                while piece := stored.read(1 << 20):
                    digest.update(piece)
            if digest.hexdigest() != manifest.sha256:
                raise BackupError(f"{file} is damaged: take an older backup.")
            with archive.open(_STORE) as stored:
                yield manifest, stored
    except (
        zipfile.BadZipFile,
        zlib.error,
        RuntimeError,  # under a password, or packed in a way that is not known here
        KeyError,
        OSError,
        EOFError,
        ValueError,
        TypeError,
        AttributeError,
    ) as error:
        raise BackupError(f"{file} is no whole backup of a desk ({error}): take another one.") from error


def _read_manifest(text: bytes) -> Manifest:
    fields = json.loads(text)
    if fields.get("format") not in _READABLE:
        raise BackupError(
            f"Backups of format {fields.get('format')!r:.20} are not known here: upgrade first."
        )
    return Manifest(**fields)
