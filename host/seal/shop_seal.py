"""The seal of one shop, as a desk puts it on what it issues."""

import datetime
from collections.abc import Callable
from pathlib import Path

from host.seal.key_ring import KeyRing
from host.seal.sealing import sealed


class ShopSeal:
    """Seals papers with the shop's key, which is made with the first of them.

    Parameters
    ----------
    folder : Path
        Of the keys.
    now : callable
        Clock. [s]
    """

    def __init__(self, folder: Path, now: Callable[[], float]) -> None:
        self.keys = KeyRing(folder)
        self._now = now

    def put_on(self, pdf: bytes, *, shop: str) -> bytes:
        """A paper with the seal.

        Raises
        ------
        SealError
            If the keys are damaged; nothing is issued then.
        """
        self.keys.make(shop)
        at = datetime.datetime.fromtimestamp(self._now(), datetime.UTC)
        return sealed(pdf, self.keys.signing_key(), shop=shop, at=at)
