"""A round as a table: one result of one station a row, those that do not count among them."""

from collections.abc import Iterator
from typing import Any

from host.procedures.rounds.station_round import StationRoundState
from host.procedures.rounds.station_round_result import comparison_of
from host.tables.table import Column, Table

_WORDS = ("round", "artefact", "quantity", "at", "result", "station", "counts", "flags", "reason")
_STATED = ("value", "expanded_u", "k", "source", "source_words")
_COMPARED = ("held_against", "held_against_expanded_u", "difference", "difference_expanded_u")
_AGREEMENT = ("en", "agreement")
_OF_ALL = ("reference", "reference_expanded_u", "reference_k", "reference_words")
_ROBUST = ("robust_mean", "robust_standard_u", "robust_spread")
_VALUES = frozenset({"value", "held_against", "reference", "robust_mean"})
_DIFFERENCES = frozenset(
    {
        "expanded_u",
        "held_against_expanded_u",
        "difference",
        "difference_expanded_u",
        "reference_expanded_u",
        "robust_standard_u",
        "robust_spread",
    }
)


def round_table(run: int, state: StationRoundState) -> Table:
    """Table of a round, open or over; numbers in full, in the unit of its column."""
    quantity = state.started.quantity
    columns = []
    for name in (*_WORDS, *_STATED, *_COMPARED, *_AGREEMENT, *_OF_ALL, *_ROBUST):
        unit = quantity.unit if name in _VALUES else ""
        columns.append(Column(name=name, unit=quantity.difference_unit if name in _DIFFERENCES else unit))
    return Table(name="round", columns=columns, rows=_rows(run, state))


def _rows(run: int, state: StationRoundState) -> Iterator[list[Any]]:
    settings, comparison, counted = state.started, comparison_of(state), state.counted
    compared = {} if comparison is None else {one.station: one for one in comparison.stations}
    reference = settings.reference
    end = [
        *((None,) * 3 if reference is None else (reference.value, reference.expanded_u, reference.k)),
        settings.reference_words,
        *(
            (None,) * 3
            if comparison is None
            else (comparison.robust_mean, comparison.robust_standard_u, comparison.robust_spread)
        ),
    ]
    head = [run, settings.artefact, settings.quantity.value, settings.at_words]
    for entry in state.entries:
        is_counted = counted.get(entry.station) is entry
        one = compared.get(entry.station) if is_counted else None
        yield [
            *head,
            entry.number,
            entry.station,
            is_counted,
            entry.flags,
            state.left_out.get(entry.station) or entry.reason,
            entry.stated.value,
            entry.stated.expanded_u,
            entry.stated.k,
            entry.source.value,
            entry.words,
            *(
                (None,) * 6
                if one is None
                else (
                    one.assigned,
                    one.assigned_expanded_u,
                    one.difference,
                    one.difference_expanded_u,
                    one.en,
                    None if one.agreement is None else one.agreement.words,
                )
            ),
            *end,
        ]
