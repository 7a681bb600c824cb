"""What a rig looks at when it starts: each line says what it found, and what to do where that is not well."""

import shutil
from collections.abc import Iterator

from calibration.contract.readings import Quality
from rig.bench import BenchSample
from rig.outbox import Outbox
from rig.outbox_file import OutboxFile

_LEAST_FREE_BYTES = 1 << 29
_MB = 1e6


def start_lines(file: OutboxFile, outbox: Outbox, *, synchronised: bool) -> Iterator[str]:
    """Lines about the rig before its first pass."""
    if file.joined is None:
        yield "not joined: this rig follows the first desk it hears. To tie it to one: ohmbath-rig join FILE"
    else:
        tls = "with TLS" if file.joined.ca_pem is not None else "without TLS"
        yield f"joined to store {file.joined.store} at {file.joined.host}:{file.joined.port}, {tls}"
    if not synchronised:
        yield (
            "the clock is not synchronised: readings carry no UTC until it is. "
            "Check the network, then: timedatectl"
        )
    free = shutil.disk_usage(file.folder).free
    if free < _LEAST_FREE_BYTES:
        yield f"{free / _MB:,.0f} MB are free beside the outbox: make room, or readings will be thinned"
    waiting = outbox.waiting()
    if waiting:
        yield f"{waiting:,} messages wait for the desk"


def channel_lines(sample: BenchSample) -> Iterator[str]:
    """Lines about the channels that are not good in an early pass; one line where all are."""
    bad = {name: one for name, one in sample.channels.items() if one.quality is not Quality.GOOD}
    if not bad:
        yield f"all {len(sample.channels)} channels read well"
    for name, one in bad.items():
        yield (
            f"{name} is {one.quality.value}: {one.reason}. If it stays so, stop this and run: "
            "ohmbath-rig selftest"
        )
