"""Settings of the desk, each a short text of its own."""

import time
from collections.abc import Callable, Mapping

from sqlalchemy import Connection, select, update

from host.store import schema
from host.store.engine import Database
from host.store.settings import Settings, settings_from, tidy_text


class KeptSettings:
    """Settings table. What a command changes beside a running desk holds from the next page on."""

    def __init__(self, database: Database, now: Callable[[], float] = time.time) -> None:
        self._database = database
        self._now = now

    def read(self) -> Settings:
        """Settings as they are now.

        Raises
        ------
        SettingError
            If one that was set can no longer be read.
        """
        return settings_from(self.texts())

    def texts(self) -> dict[str, str]:
        """Texts of the settings that were ever set."""
        table = schema.settings
        with self._database.reading() as connection:
            return {row.name: row.text for row in connection.execute(select(table.c.name, table.c.text))}

    def change(self, texts: Mapping[str, str]) -> None:
        """Set all of these, or none.

        Raises
        ------
        SettingError
            If there is no such setting or it cannot have that text.
        """
        tidy = {name: tidy_text(name, text) for name, text in texts.items()}
        with self._database.writing() as connection:
            for name, text in tidy.items():
                _put(connection, name, text, self._now())


def _put(connection: Connection, name: str, text: str, at_utc_s: float) -> None:
    table = schema.settings
    changed = connection.execute(
        update(table).where(table.c.name == name).values(text=text, changed_utc_s=at_utc_s)
    )
    if changed.rowcount == 0:
        connection.execute(table.insert().values(name=name, text=text, changed_utc_s=at_utc_s))
