"""A dump of a store on a PostgreSQL server, by the server's own tool."""

import os
import shutil
import subprocess
from pathlib import Path

from sqlalchemy import URL

from host.errors import DeskError


def dump(url: URL, file: Path) -> None:
    """Write the whole database into a file for ``pg_restore``.

    Raises
    ------
    DeskError
        If the tool is missing or fails: then nothing may be changed.
    """
    tool = shutil.which("pg_dump")
    if tool is None:
        raise DeskError(
            "The store must be upgraded, and pg_dump, which backs it up before, is not on this machine. Run: "
            "sudo apt-get install postgresql-client, then start again."
        )
    plain = url.set(drivername="postgresql", password=None).render_as_string()
    file.unlink(missing_ok=True)
    file.touch(mode=0o600)
    environment = os.environ | ({} if url.password is None else {"PGPASSWORD": str(url.password)})
    done = subprocess.run(
        [tool, "--format=custom", f"--file={file}", f"--dbname={plain}"],
        env=environment,
        capture_output=True,
        text=True,
    )
    if done.returncode != 0:
        file.unlink(missing_ok=True)
        raise DeskError(
            f"The store was not upgraded, as it could not be backed up before: {done.stderr.strip()[:300]}. "
            "Use the pg_dump of the server's version, then start again."
        )
