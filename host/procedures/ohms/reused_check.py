"""The ohms check of an earlier run that serves a later one, by value: its plan and the readings it cites."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any, Self

from host.citation import Citation
from host.local_time import local_time
from host.procedures.ohms.box_setting import BoxSetting

#: How old an ohms check may be. A choice of ours. [s]
GOOD_FOR_S = 24 * 3600.0

#: What the bench's reference resistors may have moved since: 25 ppm/K (hardware/wiring.toml) and a shop whose
#: temperature keeps within 10 K over a day, assumed. Relative half-width. [1]
MOVED_SINCE = 25e-6 * 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ReusedCheck:
    """An ohms check that was passed.

    Attributes
    ----------
    run : int
        Run that made it.
    checked_utc_s : float
        When it was passed, by the desk's clock. [s]
    plan : tuple[BoxSetting, ...]
        Its settings, in order.
    box_read : tuple[Citation, ...]
        Readings of each.
    """

    run: int
    checked_utc_s: float
    plan: tuple[BoxSetting, ...]
    box_read: tuple[Citation, ...]

    def words(self, zone: tzinfo | None) -> str:
        """As a card and a certificate say it."""
        return f"of run {self.run:04d}, passed {local_time(self.checked_utc_s, zone)}, under 24 h before"

    def as_json(self) -> dict[str, Any]:
        """For the settings of a run."""
        return {
            "run": self.run,
            "checked_utc_s": self.checked_utc_s,
            "plan": [setting.as_json() for setting in self.plan],
            "box_read": [citation.as_json() for citation in self.box_read],
        }

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> Self:
        """From the settings of a run."""
        return cls(
            run=int(content["run"]),
            checked_utc_s=float(content["checked_utc_s"]),
            plan=tuple(BoxSetting.from_json(setting) for setting in content["plan"]),
            box_read=tuple(Citation.from_json(citation) for citation in content["box_read"]),
        )
