"""Orders: which are taken, that each takes effect once, and what is answered."""

import logging
import threading
from collections import deque
from collections.abc import Callable

from calibration.contract.messages import MessageError
from calibration.contract.orders import Action, Answer, AnswerState, Order, decode_order
from rig.bell import Bell
from rig.bench import Bench
from rig.clock import Clock
from rig.errors import OrderRefused
from rig.order_actions import ACTIONS
from rig.order_log import OrderLog
from rig.pace import Pace

log = logging.getLogger(__name__)

_MOST_PENDING = 32
_LONGEST_ID = 64
_MOST_UNSENT = 256


class OrderDesk:
    """Takes orders from the link, carries them out between passes, and answers.

    `receive` and `take_answers` belong to the link's threads, `carry_out` and `pass_kept` to the sampler's.

    Parameters
    ----------
    orders_log : OrderLog
        What became of each order so far.
    boot : str
        This boot; an order for another one is refused.
    store : Callable[[], str | None]
        The store that this rig follows now.
    pace : Pace
        How often passes are taken; orders may change it.
    """

    def __init__(
        self,
        *,
        orders_log: OrderLog,
        boot: str,
        store: Callable[[], str | None],
        clock: Clock,
        bell: Bell,
        pace: Pace | None = None,
    ) -> None:
        self._log = orders_log
        self._pace = pace or Pace()
        self._boot = boot
        self._store = store
        self._clock = clock
        self._bell = bell
        self._lock = threading.Lock()
        self._pending: deque[Order] = deque()
        self._in_effect: list[tuple[str, float | None]] = []  # carried out, answered after the next pass
        # a lost answer costs nothing: the desk repeats its order until it has one
        self._unsent: deque[Answer] = deque(maxlen=_MOST_UNSENT)

    def pending(self) -> bool:
        """Tell whether an order waits to be carried out."""
        return bool(self._pending)

    def has_answers(self) -> bool:
        """Tell whether there are answers to send."""
        return bool(self._unsent)

    def take_answers(self) -> list[Answer]:
        """Answers to send now."""
        with self._lock:
            answers = list(self._unsent)
            self._unsent.clear()
        return answers

    def receive(self, payload: bytes, *, retained: bool) -> None:
        """Take what came as an order: once carried out, or refused, or known and answered again."""
        try:
            order = decode_order(payload)
            if not 0 < len(order.order) <= _LONGEST_ID:
                raise MessageError(f"an order's id has 1 to {_LONGEST_ID} characters")
        except MessageError as error:
            log.warning("what came as an order is none (%s); it is left", error)
            return
        known = self._log.recall(order.order)
        if isinstance(known, Answer):
            self._send(known)
        elif known is None and not self._is_pending(order.order):
            self._take(order, retained=retained)

    def carry_out(self, bench: Bench) -> None:
        """Carry out the orders that wait."""
        while self._pending:
            order = self._pending[0]
            if not self._is_late(order):
                self._carry_out_one(order, bench)
            self._pending.popleft()

    def awaits_pass(self) -> bool:
        """Tell whether an order took effect that the next pass answers."""
        return bool(self._in_effect)

    def pass_kept(self, seq: int) -> None:
        """Answer the orders carried out before pass ``seq``: it was taken wholly after their effect."""
        for order_id, value in self._in_effect:
            self._answer(Answer(order=order_id, state=AnswerState.DONE, seq=seq, value=value))
        self._in_effect.clear()

    def _take(self, order: Order, *, retained: bool) -> None:
        store = self._store()
        if store is None:
            log.info("order %s came before a desk was heard; its repeat will be taken", order.order)
        elif order.store != store:
            # not written down: another store's orders must not fill this log
            self._send(_refusal(order.order, f"this rig follows store {store}, not {order.store:.40}"))
        elif order.boot != self._boot:
            self._refuse(order.order, f"meant for boot {order.boot}, this is {self._boot}: order it anew")
        elif retained:
            self._refuse(order.order, "it was retained; an order counts only as it is given")
        elif order.do not in tuple(Action):
            self._refuse(order.order, f"this rig does not know how to {order.do:.40}: upgrade it")
        elif len(self._pending) >= _MOST_PENDING:
            log.warning("order %s is left for its repeat: %d wait already", order.order, _MOST_PENDING)
        elif not self._is_late(order):
            self._pending.append(order)
            self._bell.ring()

    def _is_late(self, order: Order) -> bool:
        rig_time_s = self._clock.monotonic_s()
        if rig_time_s <= order.not_after_s:
            return False
        words = f"late: rig time is {rig_time_s:.3f} s, it was good until {order.not_after_s:.3f} s"
        self._refuse(order.order, words)
        return True

    def _is_pending(self, order_id: str) -> bool:
        return any(order.order == order_id for order in tuple(self._pending))

    def _carry_out_one(self, order: Order, bench: Bench) -> None:
        if not self._log.accept(order.order):
            return
        try:
            value = ACTIONS[Action(order.do)](bench, self._pace, dict(order.fields))
        except (OrderRefused, MessageError) as error:
            self._refuse(order.order, str(error))
        except Exception as error:
            log.exception("order %s (%s) failed", order.order, order.do)
            words = f"{type(error).__name__}: {error}; look at the bench, then order it anew"
            self._answer(Answer(order=order.order, state=AnswerState.FAILED, reason=words[:500]))
        else:
            self._in_effect.append((order.order, value))

    def _refuse(self, order_id: str, reason: str) -> None:
        log.info("order %s is refused: %s", order_id, reason)
        self._answer(_refusal(order_id, reason))

    def _answer(self, answer: Answer) -> None:
        self._log.answer(answer)
        self._send(answer)

    def _send(self, answer: Answer) -> None:
        with self._lock:
            self._unsent.append(answer)
        self._bell.ring()


def _refusal(order_id: str, reason: str) -> Answer:
    return Answer(order=order_id, state=AnswerState.REFUSED, reason=reason[:500])
