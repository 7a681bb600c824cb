"""Issue certificates of new runs into a store, as a process of its own: FOLDER COUNT WORD."""

import sys
from pathlib import Path

from host.data_folder import DataFolder
from host.store import open_store
from host.store.certificates import IssuedFiles, Place

folder, count, word = sys.argv[1:]
store = open_store(DataFolder(Path(folder)))


def make(place: Place) -> IssuedFiles:
    """Invented bytes that name their place."""
    text = f"{place.number} after {place.previous_number}, {place.previous_head}, by {word}"
    return IssuedFiles(
        verdict="in_tolerance",
        pdf=f"%PDF {text}".encode(),
        canonical_json=f'{{"previous_head":"{place.previous_head}"}}'.encode(),
        chart_svg=b"<svg/>",
    )


for _ in range(int(count)):
    run = store.runs.create(station="bench-1", kind="sender_check", settings={})
    store.certificates.issue(run, make)
store.close()
