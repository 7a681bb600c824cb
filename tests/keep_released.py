"""Keep what this version writes, so that every later one is seen to read it.

    python tests/keep_released.py

Writes into tests/host/released/VERSION/ what `tests/host/test_released.py` runs over: a store, one of its
packs and one certificate as data, and in record.zip and public.pem a sealed paper with all that stands
behind it and the public key it is verified with. The check is made on the small bath of the tests; shop,
customer and sender are invented. While the changelog calls the version unreleased, the sealed paper is made
anew each time; afterwards nothing that is there is written over.
"""

import gzip
import sqlite3
import sys
import tempfile
import tomllib
import zipfile
from contextlib import closing
from pathlib import Path

from cryptography.hazmat.primitives import serialization

from host.data_folder import DataFolder
from host.procedures.record.issued_record import record_in_store
from host.procedures.record.record_folder import write_record
from host.store import Store
from tests.host.web.small_bench import CURVE
from tests.host.web.small_desk import SmallDesk

HERE = Path(__file__).parent
RELEASED = HERE / "host" / "released"
STATION, PACK, NUMBER = "bench-1", 900, "000001"
_ALIKE = (2026, 1, 1, 0, 0, 0)


def version() -> str:
    """Version of this source."""
    return str(tomllib.loads((HERE.parent / "pyproject.toml").read_text())["project"]["version"])


def is_released(name: str) -> bool:
    """Tell whether the changelog gives a version a date."""
    heading = f"## {name} "
    lines = (HERE.parent / "CHANGELOG.md").read_text("utf-8").splitlines()
    return not any(line.startswith(heading) and "unreleased" in line for line in lines)


def main() -> None:
    """Make the folder of this version."""
    name = version()
    folder = RELEASED / name
    if is_released(name) and (folder / "record.zip").exists():
        sys.exit(f"{folder} is that of a released version and stays as it is: raise the version first.")
    folder.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as aside:
        desk = _desk_with_a_certificate(Path(aside) / "desk")
        try:
            _keep_sealed_paper(desk.store, folder, Path(aside) / "record")
            if not (folder / "store.sqlite.gz").exists():
                _keep_store(desk.store, Path(aside) / "desk", folder)
        finally:
            desk.close()
    for path in sorted(folder.iterdir()):
        sys.stdout.write(f"{path.relative_to(HERE.parent)}: {path.stat().st_size / 1e3:.0f} kB\n")


def _desk_with_a_certificate(folder: Path) -> SmallDesk:
    desk = SmallDesk(folder)
    desk.store.settings.change({"shop_name": "Heron Street Garage", "shop_address": "12 Heron Street"})
    bench = desk.add_bench(STATION)
    bench.say()
    bench.read(1000)
    bench.series_ohm = 25.0
    run = desk.runs.start_sender_check(
        station=STATION,
        item="Sender, tag 7",
        curve=CURVE,
        set_points_c=(30.0, 60.0, 85.0),
        customer="Mr B. Quillfeather",
    )
    desk.let_hands_finish(run, bench=bench)
    return desk


def _keep_sealed_paper(store: Store, folder: Path, record: Path) -> None:
    write_record(store, record_in_store(store, NUMBER), record)
    with zipfile.ZipFile(folder / "record.zip", "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for path in sorted(record.iterdir()):
            archive.writestr(zipfile.ZipInfo(path.name, _ALIKE), path.read_bytes(), zipfile.ZIP_DEFLATED, 9)
    root = store.seal.keys.root()
    (folder / "public.pem").write_bytes(root.public_bytes(serialization.Encoding.PEM))


def _keep_store(store: Store, data: Path, folder: Path) -> None:
    boot = store.latest_boot(STATION)
    assert boot is not None
    ((_, pack),) = store.packs.payloads(STATION, boot, PACK, PACK)
    (folder / "readings.json").write_bytes(pack)
    (folder / f"certificate-{NUMBER}.json").write_bytes(store.certificates.data_of(NUMBER))
    copy = data / "copy.sqlite"
    with (
        closing(sqlite3.connect(DataFolder(data).store)) as reading,
        closing(sqlite3.connect(copy)) as writing,
    ):
        reading.backup(writing)
        writing.execute("PRAGMA journal_mode=DELETE")
    (folder / "store.sqlite.gz").write_bytes(gzip.compress(copy.read_bytes(), 9, mtime=0))


if __name__ == "__main__":
    main()
