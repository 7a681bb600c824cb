"""Who this store is: its random id, its restore epoch, its count of `stored` messages."""

import secrets
import threading

from sqlalchemy import select, update

from host.store.engine import Database
from host.store.schema import identity

_BLOCK = 10_000


class Identity:
    """Identity of a store, read once at the start.

    ``n`` must never be given twice, or a rig would take a new `stored` for an old
    retained copy. It is reserved in blocks, so that a message costs no write of its own
    and a killed desk leaves a hole instead of a repetition.
    """

    def __init__(self, database: Database) -> None:
        self._database = database
        self._lock = threading.Lock()
        with database.writing() as connection:
            row = connection.execute(select(identity)).one_or_none()
            if row is None:
                connection.execute(
                    identity.insert().values(row=1, store=secrets.token_hex(8), epoch=1, n_reserved=0)
                )
                row = connection.execute(select(identity)).one()
        self.store: str = row.store
        self.epoch: int = row.epoch
        self._n: int = row.n_reserved
        self._reserved: int = row.n_reserved

    def is_behind(self, *, epoch: int, n: int) -> bool:
        """Tell whether this store has said that already: then its file is an older copy of itself."""
        with self._lock:
            return (epoch, n) > (self.epoch, self._n)

    def raise_epoch(self, above: int = 0) -> int:
        """Begin a new epoch, above every one known: what rigs heard before no longer holds (rule 14)."""
        with self._lock:
            self.epoch = max(self.epoch, above) + 1
            with self._database.writing() as connection:
                connection.execute(update(identity).values(epoch=self.epoch))
            return self.epoch

    def next_n(self) -> int:
        """Next count of a `stored` message."""
        with self._lock:
            if self._n >= self._reserved:
                self._reserved = self._n + _BLOCK
                with self._database.writing() as connection:
                    connection.execute(update(identity).values(n_reserved=self._reserved))
            self._n += 1
            return self._n
