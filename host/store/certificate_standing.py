"""How an issued certificate stands now, as the links about it say."""

import json
from dataclasses import dataclass, replace
from enum import StrEnum

from host.certificates.printable import shown_text
from host.store.chain_link import BRINGS_A_CERTIFICATE, LinkKind


class State(StrEnum):
    """State of an issued certificate."""

    ISSUED = "in force"
    SUPERSEDED = "superseded"
    WITHDRAWN = "withdrawn"


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How a certificate stands.

    Attributes
    ----------
    state : State
    reason : str
        Why it was withdrawn.
    by : str
        Who withdrew it, or let out the one that took its place; empty at a desk without accounts.
    number_now : str
        The one that took its place.
    supersedes : str
        The one whose place it took.
    let_out_by : str
        Who let it out.
    at_utc_s : float
        Since when. [s]
    """

    state: State = State.ISSUED
    reason: str = ""
    by: str = ""
    number_now: str = ""
    supersedes: str = ""
    let_out_by: str = ""
    at_utc_s: float = 0.0

    @property
    def is_in_force(self) -> bool:
        """Tell whether it still holds."""
        return self.state is State.ISSUED

    @property
    def words(self) -> str:
        """State in words, with what belongs to it."""
        if self.state is State.SUPERSEDED:
            return f"superseded by {self.number_now}"
        return self.state.value


def standing_of(before: Standing | None, kind: str, content: str) -> Standing:
    """Standing after one more link about a certificate."""
    said = json.loads(content)
    at_utc_s = float(said["at_utc_s"])
    now = before or Standing()
    if LinkKind(kind) in BRINGS_A_CERTIFICATE:
        return Standing(
            supersedes=said.get("supersedes") or "", let_out_by=said.get("by", ""), at_utc_s=at_utc_s
        )
    if kind == LinkKind.SUPERSEDED:
        return replace(
            now,
            state=State.SUPERSEDED,
            by=said["by"],
            number_now=said["number_now"],
            at_utc_s=at_utc_s,
        )
    reason = shown_text(said["reason"])
    return replace(now, state=State.WITHDRAWN, by=said["by"], reason=reason, at_utc_s=at_utc_s)
