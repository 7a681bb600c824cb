"""The ``--data`` option that commands of the desk share."""

from collections.abc import Callable
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from host.data_folder import DataFolder
from host.store import Store, open_store

USUAL_DATA = Path("~/ohmbath-data")


def data_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command ``--data DIR`` as its argument ``folder``, a `DataFolder`."""
    return click.option(
        "--data",
        "folder",
        type=click.Path(file_okay=False, path_type=Path),
        default=USUAL_DATA,
        show_default=True,
        envvar="OHMBATH_DATA",
        callback=lambda _context, _option, path: DataFolder(path.expanduser()),
        help="Folder in which the desk keeps everything.",
    )(command)


@contextmanager
def opened(folder: DataFolder) -> Any:
    """Store of a folder for the length of a short command."""
    store: Store = open_store(folder)
    try:
        yield store
    finally:
        store.close()
