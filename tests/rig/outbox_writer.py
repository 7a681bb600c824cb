"""A rig that does nothing but keep messages, to be killed: `python outbox_writer.py FILE`."""

import sys
from pathlib import Path

from rig.bell import Bell
from rig.outbox import Outbox
from rig.outbox_file import OutboxFile


def main() -> None:
    file = OutboxFile(Path(sys.argv[1]))
    outbox = Outbox(file, Bell())
    print(file.boot, flush=True)  # noqa: T201 (the parent reads it)
    while True:
        seq = outbox.append(lambda seq: f"{file.boot}:{seq}".encode(), kept_at_utc_s=0.0)
        print(seq, flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
