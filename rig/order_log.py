"""What became of each order: written down before it is carried out, and again when it is answered."""

import logging
from enum import Enum

from calibration.contract.orders import Answer, AnswerState, decode_answer, encode_answer
from rig.outbox_file import OutboxFile

log = logging.getLogger(__name__)

INTERRUPTED = (
    "interrupted: the rig was stopped while it carried this out; look at the bench and order it anew"
)


class Open(Enum):
    """An order that was accepted and has no answer yet."""

    OPEN = "open"


class OrderLog:
    """Orders of one rig, kept beside its outbox.

    Opening it answers what an earlier boot had accepted and never answered: `failed`, interrupted.
    """

    def __init__(self, file: OutboxFile) -> None:
        self._file = file
        with file.transaction() as db:
            orders = db.execute(
                "SELECT order_id FROM order_log WHERE answer IS NULL AND boot <> ?", (file.boot,)
            ).fetchall()
            for (order_id,) in orders:
                answer = Answer(order=order_id, state=AnswerState.FAILED, reason=INTERRUPTED)
                db.execute(
                    "UPDATE order_log SET answer = ? WHERE order_id = ?", (encode_answer(answer), order_id)
                )
                log.warning("order %s was interrupted by the last stop; it is answered as failed", order_id)

    def recall(self, order_id: str) -> Answer | Open | None:
        """Answer given, `Open.OPEN` while there is none, None where the order is not known."""
        with self._file.reading() as db:
            row = db.execute("SELECT answer FROM order_log WHERE order_id = ?", (order_id,)).fetchone()
        if row is None:
            return None
        return Open.OPEN if row[0] is None else decode_answer(row[0])

    def accept(self, order_id: str) -> bool:
        """Write down that an order will be carried out; False where it is known already."""
        with self._file.transaction() as db:
            taken = db.execute(
                "INSERT INTO order_log VALUES (?, ?, NULL) ON CONFLICT DO NOTHING",
                (order_id, self._file.boot),
            )
            return taken.rowcount == 1

    def answer(self, answer: Answer) -> None:
        """Write down how an order ended; the first answer stays."""
        with self._file.transaction() as db:
            db.execute(
                "INSERT INTO order_log VALUES (?, ?, ?) "
                "ON CONFLICT DO UPDATE SET answer = excluded.answer WHERE answer IS NULL",
                (answer.order, self._file.boot, encode_answer(answer)),
            )
