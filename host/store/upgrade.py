"""Bringing a store file up to the schema of today, with a backup first."""

import sqlite3
from contextlib import closing
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory

from host.errors import DeskError
from host.store.engine import Database
from host.store.postgresql_dump import dump


class SchemaTooNewError(DeskError):
    """The store was written by a newer version than this one."""

    def __init__(self, path: Path, revision: str) -> None:
        super().__init__(
            f"{path} was written by a newer version (schema {revision}): "
            "upgrade this desk, or open the backup made before that upgrade."
        )
        self.path = path
        self.revision = revision


def alembic_config() -> Config:
    """Configuration of the migrations, wherever the package is installed."""
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).with_name("migrations")))
    return config


def current_revision(database: Database) -> str | None:
    """Schema revision of the database, None where it is empty."""
    with database.reading() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def needs_upgrade(database: Database, path: Path) -> bool:
    """Tell whether migrations are due.

    Raises
    ------
    SchemaTooNewError
        If the store knows a revision that this version does not.
    """
    revision = current_revision(database)
    if revision is not None and not is_known_revision(revision):
        raise SchemaTooNewError(path, revision)
    return revision != ScriptDirectory.from_config(alembic_config()).get_current_head()


def is_known_revision(revision: str) -> bool:
    """Tell whether this version knows a schema: its own or an older one."""
    scripts = ScriptDirectory.from_config(alembic_config())
    return revision in {script.revision for script in scripts.walk_revisions()}


def upgrade(database: Database, path: Path, config: Config | None = None) -> Path | None:
    """Run the migrations that are due; return the backup made before, if there was anything to keep."""
    backup = None
    revision = current_revision(database)
    if revision is not None:
        backup = path.with_name(f"{path.stem}-before-upgrade-from-{revision}{path.suffix}")
        if database.is_sqlite:
            with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(backup)) as target:
                source.backup(target)
        else:
            backup = backup.with_suffix(".dump")
            dump(database.engine.url, backup)
    config = config or alembic_config()
    with database.upgrading() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
    _refuse_loose_rows(database, backup)
    return backup


def _refuse_loose_rows(database: Database, backup: Path | None) -> None:
    """Make sure that no migration left rows behind that point at nothing."""
    if not database.is_sqlite:
        return
    with database.reading() as connection:
        loose = connection.exec_driver_sql("PRAGMA foreign_key_check").first()
    if loose is not None:
        raise DeskError(
            f"The upgrade left rows of {loose[0]} that point at nothing: go back to the version before, with "
            f"the backup {backup}, and report this."
        )
