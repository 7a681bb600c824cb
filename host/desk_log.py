"""The log of a desk: a file in its data folder that never grows without end."""

import logging
import logging.handlers
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

NAME = "desk.log"
_BYTES = 1_000_000
_OLD_FILES = 3
_NEXT_STEP = (
    "If it comes again, run 'ohmbath export support FILE.zip' and send that to whoever looks after the desk."
)


def log_file(folder: Path) -> Path:
    """Log of the desk in a data folder."""
    return folder / NAME


@contextmanager
def logging_into(folder: Path) -> Iterator[Path]:
    """Write what the desk has to say into its log for the length of a block."""
    path = log_file(folder)
    handler = logging.handlers.RotatingFileHandler(
        path, maxBytes=_BYTES, backupCount=_OLD_FILES, encoding="utf-8", delay=True
    )
    handler.setFormatter(_Lines("%(asctime)s %(levelname)s %(name)s: %(message)s"))
    handler.addFilter(_is_for_people)
    root = logging.getLogger()
    before = root.level
    root.addHandler(handler)
    root.setLevel(logging.INFO)
    try:
        yield path
    finally:
        root.removeHandler(handler)
        root.setLevel(before)
        handler.close()


def _is_for_people(record: logging.LogRecord) -> bool:
    """Leave out what the libraries say of themselves while all is well."""
    return record.name.startswith("host.") or record.levelno >= logging.WARNING


class _Lines(logging.Formatter):
    """Each trouble says what to do: its own words where they do, else the general way to help."""

    default_time_format = "%Y-%m-%dT%H:%M:%S%z"
    default_msec_format = None

    def format(self, record: logging.LogRecord) -> str:
        text = super().format(record)
        if record.levelno < logging.WARNING or getattr(record, "says_what_to_do", False):
            return text
        first, newline, rest = text.partition("\n")
        return f"{first} {_NEXT_STEP}{newline}{rest}"
