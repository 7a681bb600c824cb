"""A rig at work: its bench, its sampler and its link, started and stopped together."""

import logging
import sqlite3
import threading

from rig.bell import Bell
from rig.bench import Bench
from rig.connection import BrokerAddress
from rig.desk_watch import DeskWatch
from rig.errors import RigError
from rig.link import Link, RigFacts
from rig.order_desk import OrderDesk
from rig.order_log import OrderLog
from rig.outbox import Outbox
from rig.outbox_file import OutboxFile
from rig.pace import Pace
from rig.sampler import Sampler
from rig.start_check import start_lines
from rig.trouble import LOST_TO_DAMAGE, TroubleBoard

log = logging.getLogger(__name__)

_STOP_PATIENCE_S = 10.0

# Above this speed a disk is slower than the passes: eight are kept in one transaction.
_QUICK_SPEED = 40.0
QUICK_GROUP = 8


class RunningRig:
    """Everything that runs between a start and a stop of the rig program.

    Parameters
    ----------
    bench : Bench
        Made already, with its relays off; `stop` closes it.
    file : OutboxFile
        Open already; `stop` closes it.
    """

    def __init__(self, *, bench: Bench, file: OutboxFile, broker: BrokerAddress, facts: RigFacts) -> None:
        bell = Bell()
        troubles = TroubleBoard(bell)
        outbox = Outbox(file, bell)
        if outbox.lost_to_damage:
            troubles.put(
                LOST_TO_DAMAGE,
                f"{outbox.lost_to_damage} numbers that no desk has are gone from the outbox; they are "
                "declared as gaps. Look at the card: replace it if this comes again.",
            )
        pace, desk = Pace(), DeskWatch()
        orders = OrderDesk(
            orders_log=OrderLog(file),
            boot=file.boot,
            store=lambda: None if outbox.obeys is None else outbox.obeys.store,
            clock=bench.clock,
            bell=bell,
            pace=pace,
        )
        self._bench = bench
        self._file = file
        self._sampler = Sampler(
            bench=bench,
            file=file,
            outbox=outbox,
            orders=orders,
            troubles=troubles,
            bell=bell,
            pace=pace,
            desk=desk,
            group=_group(facts),
        )
        self._link = Link(
            address=broker,
            file=file,
            outbox=outbox,
            orders=orders,
            troubles=troubles,
            bell=bell,
            facts=facts,
            synchronised=lambda: bench.clock.utc_s() is not None,
            desk=desk,
        )
        self._outbox = outbox
        self._failed = False
        self._thread = threading.Thread(target=self._sample, name="sampler", daemon=True)

    def start(self) -> None:
        """Begin to sample and to send."""
        self._thread.start()
        self._link.start()
        log.info("sampling as %s, boot %s", self._file.station, self._file.boot)
        synchronised = self._bench.clock.utc_s() is not None
        for line in start_lines(self._file, self._outbox, synchronised=synchronised):
            log.info("%s", line)

    def is_sampling(self) -> bool:
        """Tell whether the sampler is still at work."""
        return self._thread.is_alive()

    def turned_at_s(self) -> float:
        """Wall time of the sampler's last sign of life. [s]"""
        return self._sampler.turned_at_s

    def stop(self) -> bool:
        """Stop sampling, put all relays off, say that the rig is gone, and let everything go.

        Returns
        -------
        bool
            False where the sampler had ended by an error of its own.
        """
        self._sampler.stop()
        self._thread.join(_STOP_PATIENCE_S)
        try:
            self._bench.safe()
        except RigError as error:
            log.error("not all is off: %s. Take the bench's supply away.", error)
        self._link.close()
        try:
            self._outbox.settle()
        except sqlite3.Error as error:
            log.warning("what the desk said last is not kept (%s): some readings are sent again", error)
        self._bench.close()
        self._file.close()
        return not self._failed

    def _sample(self) -> None:
        try:
            self._sampler.run()
        except Exception:
            self._failed = True
            log.exception("the sampler ended; start the rig again, and report these lines")


def _group(facts: RigFacts) -> int:
    """Passes in one transaction. A real pass is on the card before the next is taken."""
    quick = facts.simulated and (facts.speed == 0 or facts.speed >= _QUICK_SPEED)
    return QUICK_GROUP if quick else 1
