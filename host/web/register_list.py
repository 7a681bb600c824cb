"""Rows of the register: instruments by what they are for, trouble first."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from host.store.instrument_kind import InstrumentKind, Purpose
from host.store.instrument_standing import InstrumentStanding, in_use

#: Of these there may be several side by side.
_ALL_IN_USE = (Purpose.VEHICLE, Purpose.ROUNDS)
#: Without these no sender check begins at a station.
_NEEDED = (InstrumentKind.PROBE, InstrumentKind.DECADE_BOX)


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentRow:
    """One instrument in the list.

    Attributes
    ----------
    standing : InstrumentStanding
    state : str
        In use, in reserve, failed, certificate withdrawn, past its due date or retired.
    trouble : str
        Why nothing may rest on it; empty where something may.
    due : date or None
    """

    standing: InstrumentStanding
    state: str
    trouble: str
    due: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RegisterGroup:
    """Instruments for one purpose, trouble first, retired last."""

    purpose: Purpose
    rows: tuple[InstrumentRow, ...]


def instrument_row(
    standing: InstrumentStanding,
    standings: Sequence[InstrumentStanding],
    *,
    today: date,
    months_by_kind: Mapping[str, int],
) -> InstrumentRow:
    """One instrument among the others."""
    trouble = standing.refusal(today, months_by_kind) or ""
    due = standing.due(months_by_kind)
    if standing.is_retired:
        state = "retired"
    elif standing.failure is not None:
        state = "failed"
    elif standing.withdrawal_of(standing.in_force) is not None:
        state = "certificate withdrawn"
    elif due is not None and due < today:
        state = "past its due date"
    elif standing.kind.purpose in _ALL_IN_USE or _is_used(standing, standings):
        state = "in use"
    else:
        state = "in reserve"
    return InstrumentRow(standing=standing, state=state, trouble=trouble, due=due)


def register_groups(
    standings: Sequence[InstrumentStanding], *, today: date, months_by_kind: Mapping[str, int]
) -> tuple[RegisterGroup, ...]:
    """Groups in the order of the purposes; empty ones are left out."""
    rows = [
        instrument_row(standing, standings, today=today, months_by_kind=months_by_kind)
        for standing in standings
    ]
    groups = []
    for purpose in Purpose:
        some = [row for row in rows if row.standing.kind.purpose is purpose]
        if some:
            groups.append(RegisterGroup(purpose=purpose, rows=tuple(sorted(some, key=_order))))
    return tuple(groups)


def troubles(
    standings: Sequence[InstrumentStanding], *, today: date, months_by_kind: Mapping[str, int]
) -> tuple[str, ...]:
    """What keeps the bench from work: a reference that is missing, or on which nothing may rest."""
    found = []
    for kind in _NEEDED:
        places = {one.station for one in standings if one.kind == kind and not one.is_retired}
        for place in sorted(places) or ("",):
            standing = in_use(standings, kind, station=place)
            if standing is None:
                found.append(
                    f"No {kind.words} is in use: no sender check can begin at a station. Add one with its "
                    "certificate."
                )
            elif (refusal := standing.refusal(today, months_by_kind)) is not None:
                found.append(refusal)
    return tuple(found)


def _is_used(standing: InstrumentStanding, standings: Sequence[InstrumentStanding]) -> bool:
    used = in_use(standings, standing.kind, station=standing.station)
    return used is not None and used.number == standing.number


def _order(row: InstrumentRow) -> tuple[bool, bool, bool, str, str]:
    return (
        row.standing.is_retired,
        not row.trouble,
        row.state != "in use",
        row.standing.kind.value,
        row.standing.serial,
    )
