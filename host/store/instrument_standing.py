"""Where an instrument stands: its certificates, the one in force, and whether anything may rest on it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime

from host.recalibration import due_date
from host.store.certificate_standing import Standing, State
from host.store.instrument_kind import InstrumentKind
from host.store.instrument_marks import InstrumentMark, Mark
from host.store.register_entry import Instrument


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentStanding:
    """One instrument with all that the register holds of it.

    Attributes
    ----------
    number : int
        Of its first entry, by which a page finds it.
    kind : InstrumentKind
    serial : str
    certificates : tuple[Instrument, ...]
        The newest first, by their dates; one that was typed again stands here once, as typed last.
    superseded : tuple[Instrument, ...]
        Entries that were typed again, the oldest first.
    marks : tuple[InstrumentMark, ...]
        The oldest first.
    lost : Mapping[int, Standing]
        By the number of an entry: how its certificate stands, where this desk issued it and it no longer
        holds.
    """

    number: int
    kind: InstrumentKind
    serial: str
    certificates: tuple[Instrument, ...]
    superseded: tuple[Instrument, ...]
    marks: tuple[InstrumentMark, ...]
    lost: Mapping[int, Standing] = field(default_factory=dict)

    @property
    def in_force(self) -> Instrument:
        """Its newest certificate; the newest that holds where a person put it to use after a withdrawal."""
        newest = self.certificates[0]
        gone = self.withdrawal_of(newest)
        if gone is None or not self._is_put_to_use_since(gone.at_utc_s):
            return newest
        return next((one for one in self.certificates if self.withdrawal_of(one) is None), newest)

    @property
    def holding(self) -> tuple[Instrument, ...]:
        """Its certificates but those that were withdrawn, the newest first."""
        return tuple(one for one in self.certificates if self.withdrawal_of(one) is None)

    def withdrawal_of(self, entry: Instrument) -> Standing | None:
        """Withdrawal of the certificate that an entry comes from, None where it was not withdrawn."""
        standing = self.lost.get(entry.number)
        return standing if standing is not None and standing.state is State.WITHDRAWN else None

    @property
    def station(self) -> str:
        """Station that it is kept at, by its newest certificate; empty where it is kept at none."""
        return self.in_force.station

    @property
    def is_retired(self) -> bool:
        """Whether it was retired and not put to use again."""
        return self._last_mark is not None and self._last_mark.mark is Mark.RETIRED

    @property
    def failure(self) -> InstrumentMark | None:
        """Mark of its failure, unless a newer certificate or a person has lifted it."""
        last = self._last_mark
        if last is None or last.mark is not Mark.FAILED or self.in_force.added_utc_s > last.at_utc_s:
            return None
        return last

    @property
    def put_to_use_utc_s(self) -> float:
        """When it was last put to use, by a new certificate or by a person. [s]"""
        used = [mark.at_utc_s for mark in self.marks if mark.mark is Mark.IN_USE]
        return max(self.in_force.added_utc_s, *used) if used else self.in_force.added_utc_s

    def due(self, months_by_kind: Mapping[str, int]) -> date | None:
        """Day on which it is due, None where neither certificate nor shop sets one."""
        return due_date(self.in_force, months_by_kind)

    def refusal(self, today: date, months_by_kind: Mapping[str, int]) -> str | None:
        """Why nothing may rest on it today, with the next step; None where something may.

        Parameters
        ----------
        today : date
            In the shop.
        months_by_kind : Mapping[str, int]
            The shop's own intervals, where it has some.
        """
        name = f"The {self.kind.words} {self.serial}"
        if self.is_retired and self._last_mark is not None:
            return (
                f"{name} was retired on {_day(self._last_mark)}: {_said(self._last_mark.reason)} "
                "Use another, or put it to use again in the register."
            )
        if self.failure is not None:
            return (
                f"{name} failed on {_day(self.failure)}: {_said(self.failure.reason)} Nothing may rest on "
                "it: have it calibrated and add the new certificate, or use another."
            )
        gone = self.withdrawal_of(self.in_force)
        if gone is not None:
            other = (
                ", or put it to use again in the register to go by the certificate before"
                if self.holding
                else ""
            )
            return (
                f"Certificate {self.in_force.certificate} of the {self.kind.words} {self.serial} was "
                f"withdrawn on {_day_of(gone.at_utc_s)}: {_said(gone.reason)} Nothing may rest on it: "
                f"calibrate it anew and add the new certificate{other}."
            )
        due = self.due(months_by_kind)
        if due is not None and due < today:
            return (
                f"{name} was due on {due.isoformat()}: nothing may rest on it. Have it calibrated, then add "
                "the new certificate."
            )
        return None

    def _is_put_to_use_since(self, moment_utc_s: float) -> bool:
        last = self._last_mark
        return last is not None and last.mark is Mark.IN_USE and last.at_utc_s >= moment_utc_s

    @property
    def _last_mark(self) -> InstrumentMark | None:
        return self.marks[-1] if self.marks else None


def standings_of(
    entries: Sequence[Instrument],
    marks: Iterable[InstrumentMark],
    lost: Mapping[int, Standing],
) -> tuple[InstrumentStanding, ...]:
    """Standing of every instrument, in the order in which they came into the register."""
    by_instrument: dict[tuple[str, str], list[Instrument]] = {}
    for entry in entries:
        by_instrument.setdefault((entry.kind, entry.serial), []).append(entry)
    marked = list(marks)
    return tuple(
        _standing(kind, serial, some, [m for m in marked if (m.kind, m.serial) == (kind, serial)], lost)
        for (kind, serial), some in by_instrument.items()
    )


def in_use(
    standings: Iterable[InstrumentStanding], kind: str, *, station: str = ""
) -> InstrumentStanding | None:
    """The one of a kind that is used: of those not retired, the one put to use last.

    Parameters
    ----------
    standings : iterable of InstrumentStanding
    kind : str
    station : str
        Where it is used: one that is kept there goes before one that is kept at none, and one that is kept at
        another station is not used. Empty where it is used at none: one that is kept at none goes first.
    """
    some = [one for one in standings if one.kind == kind and not one.is_retired]
    kept_there = [one for one in some if one.station == station]
    others = [one for one in some if not one.station] if station else some
    return max(reversed(kept_there or others), key=lambda one: one.put_to_use_utc_s, default=None)


def _standing(
    kind: str,
    serial: str,
    entries: Sequence[Instrument],
    marks: Sequence[InstrumentMark],
    lost: Mapping[int, Standing],
) -> InstrumentStanding:
    last_typed = {entry.certificate: number for number, entry in enumerate(entries)}
    kept = [(number, entry) for number, entry in enumerate(entries) if number in last_typed.values()]
    newest_first = sorted(kept, key=lambda pair: (pair[1].issued, pair[0]), reverse=True)
    return InstrumentStanding(
        number=entries[0].number,
        kind=InstrumentKind(kind),
        serial=serial,
        certificates=tuple(entry for _, entry in newest_first),
        superseded=tuple(entry for number, entry in enumerate(entries) if number not in last_typed.values()),
        marks=tuple(marks),
        lost={entry.number: lost[entry.number] for entry in entries if entry.number in lost},
    )


def _day(mark: InstrumentMark) -> str:
    return _day_of(mark.at_utc_s)


def _day_of(moment_utc_s: float) -> str:
    return datetime.fromtimestamp(moment_utc_s, UTC).date().isoformat()


def _said(reason: str) -> str:
    return reason if reason.endswith((".", "!", "?")) else f"{reason}."
