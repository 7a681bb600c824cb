"""How a run cites readings."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Self

from calibration.contract.readings import ReadingPack


@dataclass(frozen=True, slots=True, kw_only=True)
class Citation:
    """Readings by their numbers: (station, boot, from, to), never by time (protocol, rule 22).

    Attributes
    ----------
    first, last : int
        Numbers in the boot, both included.
    """

    station: str
    boot: str
    first: int
    last: int

    def as_json(self) -> dict[str, Any]:
        """For an event's payload."""
        return {"station": self.station, "boot": self.boot, "from": self.first, "to": self.last}

    @classmethod
    def from_json(cls, fields: Mapping[str, Any]) -> Self:
        """From an event's payload."""
        return cls(
            station=fields["station"], boot=fields["boot"], first=int(fields["from"]), last=int(fields["to"])
        )

    @classmethod
    def of(cls, packs: Sequence[ReadingPack]) -> Self:
        """Of consecutive packs of one boot."""
        return cls(station=packs[0].station, boot=packs[0].boot, first=packs[0].seq, last=packs[-1].seq)

    def words(self) -> str:
        """As printed on a certificate."""
        return f"{self.station}, boot {self.boot}, readings {self.first} to {self.last}"


def joined(citations: Sequence[Citation]) -> tuple[Citation, ...]:
    """One citation for each station and boot, from its first to its last reading, in order."""
    spans: dict[tuple[str, str], Citation] = {}
    for cited in citations:
        key = (cited.station, cited.boot)
        whole = spans.get(key, cited)
        spans[key] = Citation(
            station=cited.station,
            boot=cited.boot,
            first=min(whole.first, cited.first),
            last=max(whole.last, cited.last),
        )
    return tuple(spans.values())


def words_by_boot(citations: Sequence[Citation]) -> tuple[str, ...]:
    """As printed, the citations of one boot in one line."""
    lines: dict[tuple[str, str], list[str]] = {}
    for cited in citations:
        lines.setdefault((cited.station, cited.boot), []).append(f"{cited.first} to {cited.last}")
    return tuple(
        f"{station}, boot {boot}, readings {', '.join(spans)}" for (station, boot), spans in lines.items()
    )
