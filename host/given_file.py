"""A file that somebody names: read only where it is a file, and no longer than such a file may be."""

import os
import stat
from pathlib import Path

from host.errors import DeskError

_KILOBYTE, _MEGABYTE = 1_000, 1_000_000
#: A pipe that nobody writes to must not hold the program up, nor a terminal become its own.
_READ = os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK | os.O_NOCTTY


class GivenFileError(DeskError):
    """A file that is not read; says why, and what to name in its place."""


def read_given(path: Path, *, most_bytes: int, what: str) -> bytes:
    """Content of a file that somebody named.

    Parameters
    ----------
    path : Path
    most_bytes : int
        The most that such a file has. One byte more is read at most. [byte]
    what : str
        What it should be, for the refusal: "certificate", "public key".

    Raises
    ------
    GivenFileError
        If it is none, is larger, or cannot be read.
    """
    try:
        descriptor = os.open(path, _READ)
        _refuse_no_file(descriptor, path, what)
        with open(descriptor, "rb") as file:
            is_too_large = os.fstat(descriptor).st_size > most_bytes
            content = b"" if is_too_large else file.read(most_bytes + 1)
    except (OSError, ValueError) as error:
        raise GivenFileError(_not_read(path, error)) from error
    if is_too_large or len(content) > most_bytes:
        raise GivenFileError(
            f"{path} has over {_size(most_bytes)}, which no {what} has: name the {what} itself."
        )
    return content


def require_given(path: Path, *, what: str) -> None:
    """Make sure that a name is that of a file which can be read; its size is left to whoever reads it.

    Raises
    ------
    GivenFileError
        If it is not.
    """
    try:
        descriptor = os.open(path, _READ)
        _refuse_no_file(descriptor, path, what)
        os.close(descriptor)
    except (OSError, ValueError) as error:
        raise GivenFileError(_not_read(path, error)) from error


def _refuse_no_file(descriptor: int, path: Path, what: str) -> None:
    mode = os.fstat(descriptor).st_mode
    if stat.S_ISREG(mode):
        return
    os.close(descriptor)
    kinds = {stat.S_IFDIR: "a folder", stat.S_IFIFO: "a pipe", stat.S_IFSOCK: "a socket"}
    found = kinds.get(stat.S_IFMT(mode), "a device")
    raise GivenFileError(f"{path} is {found} and no file: save the {what} as a file, and name that.")


def _not_read(path: Path, error: Exception) -> str:
    if isinstance(error, FileNotFoundError):
        return f"There is no file {path}: look at its name, and at the folder that it should be in."
    if isinstance(error, PermissionError):
        return f"{path} may not be read by you: ask whoever owns it, or take a copy of your own."
    said = error.strerror if isinstance(error, OSError) else str(error)
    return f"{path} cannot be read ({said})."


def _size(number: int) -> str:
    return f"{number // _MEGABYTE} MB" if number >= _MEGABYTE else f"{number // _KILOBYTE} kB"
