"""Pictures: photos of what is checked, by run, and the shop's own; the newest of each counts."""

import time
from collections.abc import Callable

from sqlalchemy import delete, select

from host.picture import MediaType, Picture
from host.store.engine import Database
from host.store.runs import require_run
from host.store.schema import picture_uses, pictures

_LOGO, _ITEM = "logo", "item"

# A photo that was sent with a form which was never taken. [s]
_FORGOTTEN_AFTER_S = 86_400.0


class Pictures:
    """Pictures of a store."""

    def __init__(self, database: Database, now: Callable[[], float] = time.time) -> None:
        self._database = database
        self._now = now

    def keep(self, picture: Picture) -> str:
        """Keep a picture that belongs to nothing yet; its digest. After a day without a use it goes."""
        table, sha256 = pictures, picture.sha256
        used = select(picture_uses.c.sha256).where(picture_uses.c.sha256.is_not(None))
        old = table.c.added_utc_s < self._now() - _FORGOTTEN_AFTER_S
        with self._database.writing() as connection:
            connection.execute(delete(table).where(old, table.c.sha256.not_in(used)))
            there = select(table.c.sha256).where(table.c.sha256 == sha256)
            if connection.execute(there).first() is None:
                connection.execute(
                    table.insert().values(
                        sha256=sha256,
                        media_type=picture.media_type.value,
                        data=picture.data,
                        added_utc_s=self._now(),
                    )
                )
        return sha256

    def get(self, sha256: str) -> Picture | None:
        """Picture of a digest, None where there is none."""
        query = select(pictures).where(pictures.c.sha256 == sha256)
        with self._database.reading() as connection:
            row = connection.execute(query).first()
        return None if row is None else Picture(media_type=MediaType(row.media_type), data=row.data)

    def use_for_run(self, run: int, sha256: str, *, by: str = "") -> None:
        """Let a kept picture be the photo of a run's item.

        Raises
        ------
        UnknownRunError
            If there is no such run.
        """
        self._use(_ITEM, sha256, run=run, by=by)

    def of_run(self, run: int) -> str | None:
        """Digest of the photo of a run's item, None where there is none."""
        return self._newest(_ITEM, run)

    def use_as_logo(self, sha256: str | None, *, by: str = "") -> None:
        """Let a kept picture be the shop's, or None for no picture."""
        self._use(_LOGO, sha256, run=None, by=by)

    def logo(self) -> Picture | None:
        """The shop's own picture, a PNG; None where there is none."""
        sha256 = self._newest(_LOGO, None)
        return None if sha256 is None else self.get(sha256)

    def _use(self, purpose: str, sha256: str | None, *, run: int | None, by: str) -> None:
        with self._database.writing() as connection:
            if run is not None:
                require_run(connection, run)
            connection.execute(
                picture_uses.insert().values(
                    purpose=purpose, run=run, sha256=sha256, by=by, at_utc_s=self._now()
                )
            )

    def _newest(self, purpose: str, run: int | None) -> str | None:
        table = picture_uses
        query = select(table.c.sha256).where(
            table.c.purpose == purpose, table.c.run.is_not_distinct_from(run)
        )
        with self._database.reading() as connection:
            return connection.execute(query.order_by(table.c.id.desc()).limit(1)).scalar_one_or_none()
