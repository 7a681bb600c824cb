import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy.exc import OperationalError

from host.data_folder import DataFolder, DataFolderBusyError
from host.store import open_store
from host.store.engine import Database
from host.store.schema import metadata
from host.store.upgrade import SchemaTooNewError, alembic_config, upgrade

SPOILED_STEP = '''
"""A step that fails half way."""
from alembic import op
import sqlalchemy as sa
revision = "half"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table("half_done", sa.Column("x", sa.Integer()))
    op.execute("SELECT * FROM a_table_that_is_not_there")
'''


def tables(path: Path) -> set[str]:
    with closing(sqlite3.connect(path)) as connection:
        return {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}


def test_the_migrations_make_exactly_the_tables_that_the_code_knows(tmp_path: Path) -> None:
    folder = DataFolder(tmp_path)
    open_store(folder).close()
    database = Database(f"sqlite:///{folder.store}")
    with database.reading() as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []
    database.close()


def test_a_migration_that_fails_half_way_leaves_nothing_behind(tmp_path: Path) -> None:
    versions = tmp_path / "versions"
    versions.mkdir()
    (versions / "half.py").write_text(SPOILED_STEP, encoding="utf-8")
    config = alembic_config()
    config.set_main_option("version_locations", str(versions))
    config.set_main_option("path_separator", "os")
    database = Database(f"sqlite:///{tmp_path / 'store.sqlite'}")
    with (
        pytest.raises(OperationalError, match="a_table_that_is_not_there"),
        database.upgrading() as connection,
    ):
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
    database.close()
    assert "half_done" not in tables(tmp_path / "store.sqlite")


def test_a_store_of_a_newer_version_is_refused_in_words(tmp_path: Path) -> None:
    folder = DataFolder(tmp_path)
    open_store(folder).close()
    with closing(sqlite3.connect(folder.store)) as connection, connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(SchemaTooNewError, match="9999.*upgrade this desk"):
        open_store(folder)


def test_an_upgrade_leaves_a_backup_of_what_was_there(tmp_path: Path) -> None:
    folder = DataFolder(tmp_path)
    store = open_store(folder)
    store.stations.add("bench-1")
    store.close()
    # As a file of an older version: the last step is not done yet.
    with closing(sqlite3.connect(folder.store)) as connection, connection:
        connection.execute("CREATE TABLE older (x)")
        connection.execute("DELETE FROM alembic_version")
        connection.execute("INSERT INTO alembic_version VALUES ('older')")
    versions = tmp_path / "versions"
    versions.mkdir()
    step = SPOILED_STEP.replace('"half"', '"older"').replace("a_table_that_is_not_there", "older")
    (versions / "older.py").write_text(step, encoding="utf-8")
    newer = SPOILED_STEP.replace("down_revision = None", 'down_revision = "older"').replace(
        "a_table_that_is_not_there", "older"
    )
    (versions / "half.py").write_text(newer, encoding="utf-8")

    config = alembic_config()
    config.set_main_option("version_locations", str(versions))
    config.set_main_option("path_separator", "os")
    database = Database(f"sqlite:///{folder.store}")
    backup = upgrade(database, folder.store, config)
    database.close()
    assert backup is not None
    assert "half_done" in tables(folder.store)
    assert {"older", "stations"} <= tables(backup)
    assert "half_done" not in tables(backup)


def test_the_schema_is_not_changed_under_a_desk_at_work(tmp_path: Path) -> None:
    with DataFolder(tmp_path), pytest.raises(DataFolderBusyError):
        open_store(DataFolder(tmp_path))


def test_a_short_command_opens_the_store_beside_a_desk_at_work(tmp_path: Path) -> None:
    with DataFolder(tmp_path) as folder:
        desk = open_store(folder)
        beside = open_store(DataFolder(tmp_path))
        beside.stations.add("bench-2")
        assert [one.station for one in desk.stations.all()] == ["bench-2"]
        beside.close()
        desk.close()


def test_the_store_keeps_its_id_and_never_repeats_a_count(tmp_path: Path) -> None:
    folder = DataFolder(tmp_path)
    first = open_store(folder)
    store_id = first.identity.store
    counts = [first.identity.next_n() for _ in range(3)]
    first.close()
    second = open_store(folder)
    assert second.identity.store == store_id
    assert second.identity.next_n() > max(counts)
    assert counts == sorted(set(counts))
    second.close()


def test_a_second_desk_on_the_same_folder_is_refused_in_words(tmp_path: Path) -> None:
    first = DataFolder(tmp_path).lock()
    with pytest.raises(DataFolderBusyError, match=r"process \d+.*--data"):
        DataFolder(tmp_path).lock()
    first.unlock()
    DataFolder(tmp_path).lock().unlock()
