"""Which rig and which desk a station is tied to, from what is heard on its topics (rules 13 to 15)."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from calibration.contract.presence import Presence, Stored


@dataclass(slots=True)
class _Heard:
    other_store: str | None = None
    obeyed_store: str | None = None
    newest_boot: str = ""
    rig: str = ""
    replaces: str | None = None


@dataclass(slots=True)
class StationTies:
    """What is known of each station's ties. It writes nothing; the ingest does.

    Parameters
    ----------
    store : str
        This desk's own.
    """

    store: str
    _heard: dict[str, _Heard] = field(default_factory=dict)

    def hear_stored(self, station: str, stored: Stored | None) -> None:
        """Take what stands on a station's `stored` topic; None where it was wiped."""
        other = None if stored is None or stored.store == self.store else stored.store
        self._of(station).other_store = other

    def hear_presence(self, station: str, presence: Presence, *, live: bool) -> str | None:
        """Take a presence message of the station's own rig; words where it proves a copied card.

        A rig that starts anew never goes back to an older boot: one that is up after a newer one was heard
        is a second rig with the same id. So are two boots of one number.
        """
        heard = self._of(station)
        heard.obeyed_store = None if presence.obeys is None else presence.obeys.store
        if presence.rig != heard.rig:
            heard.rig, heard.newest_boot = presence.rig, ""
        newest, heard.newest_boot = heard.newest_boot, max(heard.newest_boot, presence.boot)
        older = live and presence.state == "up" and presence.boot < newest
        twins = newest not in ("", presence.boot) and newest[:8] == presence.boot[:8]
        if not older and not twins:
            return None
        return (
            f"Two rigs speak under one id ({presence.rig}), boots {min(newest, presence.boot)} and "
            f"{max(newest, presence.boot)}: a copied card. Nothing of either counts. On the copy run "
            f"'ohmbath-rig join FILE --copied-card', then here 'ohmbath station join {station}'."
        )

    def forget_rig(self, station: str) -> None:
        """Begin anew with whichever rig speaks next."""
        heard = self._of(station)
        heard.rig, heard.newest_boot, heard.obeyed_store = "", "", None

    def replace(self, station: str, store: str | None) -> None:
        """Let the word of a desk that is gone for good be written over."""
        self._of(station).replaces = store

    def may_write(self, station: str) -> bool:
        """Tell whether this desk may say `stored` there."""
        return self.words(station) is None

    def words(self, station: str) -> str | None:
        """Why this desk may not say `stored` there, for the page; None where it may."""
        heard = self._of(station)
        if heard.obeyed_store is not None:  # the rig itself has decided
            if heard.obeyed_store == self.store:
                return None
            return (
                "Its rig belongs to another desk's store and keeps its readings for that one: join it here, "
                f"with 'ohmbath station join {station} --join-file FILE', or give this station another name."
            )
        if heard.other_store is None or heard.other_store == heard.replaces:
            return None
        return (
            f"Another desk (store {heard.other_store:.40}) speaks to this station, so this one does not. If "
            f"that desk is gone for good: ohmbath station join {station} "
            f"--in-place-of {heard.other_store:.40}"
        )

    def _of(self, station: str) -> _Heard:
        return self._heard.setdefault(station, _Heard())


def has_said_more(said: Mapping[str, int], stored: Mapping[str, int]) -> bool:
    """Tell whether what was heard of this store is ahead of what it has: then its file is an older copy."""
    return any(w > stored.get(boot, 0) for boot, w in said.items())
