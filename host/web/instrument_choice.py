"""Which instrument of a kind a page is about, where the register holds several."""

from collections.abc import Sequence
from dataclasses import dataclass

from host.errors import DeskError
from host.store.instrument_kind import InstrumentKind
from host.store.instrument_standing import InstrumentStanding, in_use


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentChoice:
    """Instruments of a kind that a form offers, those that are retired left out.

    Attributes
    ----------
    kind : InstrumentKind
    standings : tuple[InstrumentStanding, ...]
        By station and serial.
    """

    kind: InstrumentKind
    standings: tuple[InstrumentStanding, ...]

    @classmethod
    def of(cls, standings: Sequence[InstrumentStanding], kind: str) -> "InstrumentChoice":
        """Those of a kind in the register."""
        some = [one for one in standings if one.kind == kind and not one.is_retired]
        ordered = sorted(some, key=lambda one: (one.station, one.serial))
        return cls(kind=InstrumentKind(kind), standings=tuple(ordered))

    @property
    def options(self) -> tuple[tuple[str, str], ...]:
        """Serial of each, and what it is in words."""
        return tuple((one.serial, _words(one)) for one in self.standings)

    def proposed(self, *, serial: str = "", station: str = "") -> str:
        """Serial that stands in the form at first; empty where somebody has to choose.

        Parameters
        ----------
        serial : str
            Asked for; one that is not there is not proposed.
        station : str
            Its own instrument goes before the others.
        """
        if any(one.serial == serial for one in self.standings):
            return serial
        if station:
            used = in_use(self.standings, self.kind, station=station)
            return used.serial if used is not None else ""
        return self.standings[0].serial if len(self.standings) == 1 else ""

    def chosen(self, serial: str) -> InstrumentStanding:
        """The one of a serial; the sole one where none was named.

        Raises
        ------
        DeskError
            If there is none, or it has to be said which.
        """
        if not self.standings:
            raise DeskError(f"The register holds no {self.kind.words}. Add it with its certificate first.")
        name = serial or self.proposed()
        for one in self.standings:
            if one.serial == name:
                return one
        if serial:
            raise DeskError(f"The register holds no {self.kind.words} {serial!r:.80} in use. Choose another.")
        raise DeskError(f"The register holds {len(self.standings)} of them: choose the {self.kind.words}.")


def _words(standing: InstrumentStanding) -> str:
    where = f", kept at {standing.station}" if standing.station else ""
    return f"{standing.serial}{where}, certificate {standing.in_force.certificate}"
