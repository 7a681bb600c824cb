"""Orders given and how they ended."""

import json
import time
from collections.abc import Callable
from typing import Any

from sqlalchemy import Row, select, update

from calibration.contract.orders import Answer, AnswerState, Order
from host.store import schema
from host.store.engine import Database
from host.store.runs import to_json

OPEN = "open"
WITHDRAWN = "withdrawn"


class Orders:
    """Orders table, the desk's side."""

    def __init__(self, database: Database, now: Callable[[], float] = time.time) -> None:
        self._database = database
        self._now = now

    def add(self, station: str, order: Order) -> None:
        """Write an order down, before it is sent."""
        with self._database.writing() as connection:
            connection.execute(
                schema.orders.insert().values(
                    order=order.order,
                    station=station,
                    boot=order.boot,
                    run=order.run,
                    not_after_s=order.not_after_s,
                    do=order.do,
                    fields=to_json(order.fields),
                    sent_utc_s=self._now(),
                    state=OPEN,
                )
            )

    def answer(self, station: str, answer: Answer) -> bool:
        """Write an answer down; False where there is no such order, or it is answered already."""
        table = schema.orders
        with self._database.writing() as connection:
            written = connection.execute(
                update(table)
                .where(
                    table.c.order == answer.order,
                    table.c.station == station,
                    table.c.state.in_([OPEN, WITHDRAWN]),
                )
                .values(state=answer.state.value, reason=answer.reason, seq=answer.seq)
            )
        return written.rowcount > 0

    def answer_of(self, order: str) -> Answer | None:
        """Return the answer to an order, None while there is none."""
        with self._database.reading() as connection:
            row = connection.execute(
                select(schema.orders).where(schema.orders.c.order == order)
            ).one_or_none()
        return None if row is None else _answer(row)

    def withdraw(self, order: str) -> None:
        """Stop waiting for an order."""
        self._withdraw(schema.orders.c.order == order)

    def withdraw_all(self) -> int:
        """Withdraw the open orders of an earlier process; return how many there were."""
        return self._withdraw(schema.orders.c.order.is_not(None))

    def state(self, order: str) -> str | None:
        """How an order stands: ``open``, ``withdrawn``, or as it was answered; None where unknown."""
        with self._database.reading() as connection:
            return connection.execute(
                select(schema.orders.c.state).where(schema.orders.c.order == order)
            ).scalar_one_or_none()

    def open(self) -> list[tuple[str, dict[str, Any]]]:
        """Open orders as (id, fields), oldest first."""
        table = schema.orders
        query = select(table).where(table.c.state == OPEN).order_by(table.c.sent_utc_s)
        with self._database.reading() as connection:
            return [(row.order, json.loads(row.fields)) for row in connection.execute(query)]

    def _withdraw(self, which: Any) -> int:
        table = schema.orders
        with self._database.writing() as connection:
            done = connection.execute(
                update(table).where(which, table.c.state == OPEN).values(state=WITHDRAWN)
            )
        return int(done.rowcount)


def _answer(row: Row[Any]) -> Answer | None:
    if row.state not in tuple(AnswerState):
        return None
    return Answer(order=row.order, state=AnswerState(row.state), reason=row.reason, seq=row.seq)
