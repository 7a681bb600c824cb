import os
import signal
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from calibration.contract.readings import ReadingPack
from calibration.contract.senml import encode_readings
from host.data_folder import DataFolder
from host.store import open_store
from host.store.packs import Arrival

BOOT = "00000001-0a0b0c0d"
BATCH = 20

# Reads payloads (one a line) and stores them in batches; says the watermark after each commit.
WRITER = f"""
import sys
from host.data_folder import DataFolder
from host.store import open_store
from host.store.packs import Arrival

store = open_store(DataFolder(sys.argv[1]).lock())
lines = iter(sys.stdin.buffer)
while batch := [line for _, line in zip(range({BATCH}), lines)]:
    taken = store.packs.take(
        [Arrival(station="bench-1", payload=line.strip(), received_utc_s=0.0) for line in batch]
    )
    for w in taken.watermarks.values():
        print(w, flush=True)
"""


@pytest.mark.slow
@pytest.mark.parametrize("kill_after", [1, 7, 23])
def test_a_killed_desk_has_stored_all_that_it_said_and_the_rest_fits_on(
    tmp_path: Path, make_pack: Callable[..., ReadingPack], kill_after: int
) -> None:
    folder = DataFolder(tmp_path / "desk")
    store = open_store(folder)
    store.stations.add("bench-1")
    store.close()
    payloads = [encode_readings(make_pack(seq=seq)) for seq in range(1, 4001)]
    feed = tmp_path / "feed"
    feed.write_bytes(b"\n".join(payloads))

    with feed.open("rb") as lines:
        process = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(folder.path)], stdin=lines, stdout=subprocess.PIPE, text=True
        )
        assert process.stdout is not None
        with closing(process.stdout):
            said = 0
            for _ in range(kill_after):
                said = int(process.stdout.readline())
            # It goes on with the next batch at this moment, and is killed somewhere in it.
            os.kill(process.pid, signal.SIGKILL)
            process.wait()

    store = open_store(folder.lock())  # the kernel gave the lock back with the process
    w = store.watermark("bench-1", BOOT)
    stored = [pack.seq for pack in store.readings("bench-1", BOOT, 1, 10_000)]
    assert said >= kill_after * BATCH
    assert said <= w <= 4000
    assert w % BATCH == 0
    assert stored == list(range(1, w + 1))

    resent = [Arrival(station="bench-1", payload=payload, received_utc_s=0.0) for payload in payloads]
    new = store.packs.take(resent).readings
    assert [pack.seq for pack in new] == list(range(w + 1, 4001))
    assert store.watermark("bench-1", BOOT) == 4000
    assert [pack.seq for pack in store.readings("bench-1", BOOT, 1, 10_000)] == list(range(1, 4001))
    store.close()
    folder.unlock()
