"""The seal of one shop, as a desk puts it on what it issues."""

import datetime
from collections.abc import Callable
from pathlib import Path

from host.seal.errors import SealError
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
    has_sealed : callable, optional
        Whether papers with a seal were issued already.
    """

    def __init__(
        self, folder: Path, now: Callable[[], float], has_sealed: Callable[[], bool] = lambda: False
    ) -> None:
        self.keys = KeyRing(folder)
        self._now = now
        self._has_sealed = has_sealed

    def require_keys(self, shop: str) -> None:
        """Make sure that there are keys; the very first paper makes them.

        Raises
        ------
        SealError
            If papers were sealed before and their keys are not here: a new root would be a stranger to
            everybody who holds one of them.
        """
        if not self.keys.exists and self._has_sealed():
            raise SealError(
                f"This desk has sealed certificates, and their keys are not in {self.keys.folder}: no backup "
                "of a desk has them. Bring them first: ohmbath certificate key restore FILE. If they are "
                "lost for good: ohmbath certificate key new --old-keys-are-lost."
            )
        self.keys.make(shop)

    def put_on(self, pdf: bytes, *, shop: str) -> bytes:
        """A paper with the seal.

        Raises
        ------
        SealError
            If the keys are damaged or were not brought along; nothing is issued then.
        """
        self.require_keys(shop)
        at = datetime.datetime.fromtimestamp(self._now(), datetime.UTC)
        return sealed(pdf, self.keys.signing_key(), shop=shop, at=at)
