"""Orders from the desk to a rig: written down, repeated until answered, answered once."""

import threading
import time
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from calibration.contract.messages import MessageError
from calibration.contract.orders import Answer, Order, decode_answer, encode_order
from calibration.contract.topics import topic
from host.store import Store
from host.store.aside import Refusal

REPEAT_S = 2.0


@dataclass(slots=True)
class _OpenOrder:
    station: str
    payload: bytes
    due_s: float


class OrderBook:
    """Orders of this desk process; those of one station go out one after the other.

    The next one is sent only once the one before was answered or withdrawn. Else a first message that was
    lost would be repeated after a later order, and undo it.

    Open orders of an earlier process are withdrawn: whoever gave them has to look at the
    readings first and decide anew.

    Parameters
    ----------
    store : Store
        Keeps orders and answers.
    publish : Callable[[str, bytes], object]
        Sends bytes to a topic at QoS 1, not retained.
    wall_s : Callable[[], float]
        Monotonic wall time. [s]
    """

    def __init__(
        self,
        store: Store,
        publish: Callable[[str, bytes], object],
        *,
        wall_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._store = store
        self._publish = publish
        self._wall_s = wall_s
        self._open: dict[str, _OpenOrder] = {}
        self._changed = threading.Condition()
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None
        self.withdrawn_at_start = store.orders.withdraw_all()

    def start(self) -> None:
        """Start repeating open orders."""
        self._thread = threading.Thread(target=self._repeat, name="order-book", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Stop repeating. What is open stays so in the store, and is withdrawn at the next start."""
        self._stopping.set()
        with self._changed:
            self._changed.notify_all()
        if self._thread is not None:
            self._thread.join()

    def send(
        self,
        station: str,
        boot: str,
        do: str,
        fields: Mapping[str, Any],
        run: int | str | None,
        not_after_s: float,
    ) -> str:
        """Give an order and return its id; it is repeated until answered or withdrawn.

        Parameters
        ----------
        station, boot : str
            Whom it is for; a rig that has started anew meanwhile refuses it.
        do : str
            A word of `calibration.contract.orders.Action`.
        fields : Mapping[str, Any]
            What belongs to that word.
        run : int or str or None
            Run that it serves.
        not_after_s : float
            Rig time after which the rig refuses it as late. [s]
        """
        order = Order(
            order=str(uuid.uuid4()),
            store=self._store.identity.store,
            boot=boot,
            not_after_s=not_after_s,
            do=do,
            fields=fields,
            run=None if run is None else str(run),
        )
        payload = encode_order(order)
        self._store.orders.add(station, order)
        with self._changed:
            is_next = all(entry.station != station for entry in self._open.values())
            due_s = self._wall_s() + (REPEAT_S if is_next else 0.0)
            self._open[order.order] = _OpenOrder(station, payload, due_s)
            self._changed.notify_all()
        if is_next:
            self._publish(topic(station, "orders"), payload)
        return order.order

    def answer(self, order: str) -> Answer | None:
        """Return how an order ended, None while it is open or where it was withdrawn."""
        return self._store.orders.answer_of(order)

    def wait(self, order: str, timeout_s: float) -> Answer | None:
        """Return how an order ended, after waiting at most ``timeout_s`` of wall time for it."""
        with self._changed:
            self._changed.wait_for(lambda: order not in self._open, timeout_s)
        return self.answer(order)

    def withdraw(self, order: str) -> None:
        """Stop repeating an order; an answer that still comes is written down all the same."""
        self._store.orders.withdraw(order)
        self._forget(order)

    def open(self, station: str) -> list[str]:
        """Open orders of a station, oldest first."""
        with self._changed:
            return [order for order, entry in self._open.items() if entry.station == station]

    def take(self, station: str, payload: bytes) -> None:
        """Take a message of a station's answers topic; what is no answer is kept aside."""
        try:
            answer = decode_answer(payload)
        except MessageError as error:
            known = any(entry.station == station for entry in self._store.stations.all())
            refusal = Refusal(station=station, known=known, kind="answers", reason=str(error))
            self._store.aside.keep(payload, refusal, self._store.now())
            return
        if self._store.orders.answer(station, answer):
            self._forget(answer.order)

    def _forget(self, order: str) -> None:
        with self._changed:
            self._open.pop(order, None)
            self._changed.notify_all()

    def _repeat(self) -> None:
        while not self._stopping.is_set():
            for entry in self._due():
                self._publish(topic(entry.station, "orders"), entry.payload)
            with self._changed:
                if not self._stopping.is_set():
                    self._changed.wait(self._pause_s())

    def _due(self) -> list[_OpenOrder]:
        now_s = self._wall_s()
        with self._changed:
            due = [entry for entry in self._first_of_each_station() if entry.due_s <= now_s]
            for entry in due:
                entry.due_s = now_s + REPEAT_S
        return due

    def _pause_s(self) -> float | None:
        """Wall time until the next repetition, None while nothing is open."""
        if not self._open:
            return None
        return max(0.0, min(entry.due_s for entry in self._first_of_each_station()) - self._wall_s())

    def _first_of_each_station(self) -> list[_OpenOrder]:
        first: dict[str, _OpenOrder] = {}
        for entry in self._open.values():
            first.setdefault(entry.station, entry)
        return list(first.values())
