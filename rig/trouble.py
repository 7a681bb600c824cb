"""What is wrong at the rig at this moment, in words for the desk's pages."""

import logging
import threading

from rig.bell import Bell

log = logging.getLogger(__name__)

OTHER_STORE = "other_store"  # a desk with another store speaks on this station's topics
DESK_KNOWS_MORE = "desk_knows_more"  # the desk holds numbers that this outbox has not given: a copied card?
BENCH_UNREADABLE = "bench_unreadable"
DISK_UNWRITABLE = "disk_unwritable"
DESK_LOST = "desk_lost"  # no live word of a desk for so long that all relays went off
NOT_SAFE = "not_safe"  # the relays could not be put off
OUTBOX_FULL = "outbox_full"
OUTBOX_THINNED = "outbox_thinned"
LOST_TO_DAMAGE = "lost_to_damage"  # numbers that a damaged card does not give back; declared as gaps


class TroubleBoard:
    """The troubles of now, each by its word; it rings when one comes or goes."""

    def __init__(self, bell: Bell) -> None:
        self._bell = bell
        self._lock = threading.Lock()
        self._words: tuple[str, ...] = ()
        self._of_bench: tuple[str, ...] = ()

    def show_bench(self, words: tuple[str, ...]) -> None:
        """Take over what the bench says of itself, in words of its own."""
        if words == self._of_bench:
            return
        for line in words:
            if line not in self._of_bench:
                log.warning("%s", line)
        self._of_bench = words
        self._bell.ring()

    def words(self) -> tuple[str, ...]:
        """Troubles of now, in the order in which they came, then what the bench says of itself."""
        return self._words + self._of_bench

    def put(self, word: str, advice: str) -> None:
        """Put up a trouble; ``advice`` goes to the log, once."""
        with self._lock:
            if word in self._words:
                return
            self._words += (word,)
        log.warning("%s: %s", word, advice)
        self._bell.ring()

    def clear(self, word: str) -> None:
        """Take a trouble down, where it is up."""
        if word not in self._words:
            return
        with self._lock:
            self._words = tuple(other for other in self._words if other != word)
        log.info("%s is over", word)
        self._bell.ring()
