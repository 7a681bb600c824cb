"""A witness check worked out again: it has no certificate, its corrections stand in the register."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from host.citation import Citation
from host.procedures.bench_setup import ReadingsOf
from host.procedures.event import Event
from host.procedures.record.recompute import Recomputed, RecomputeError
from host.procedures.references.witness_check import Kind, read_again, rows_of, state_of

_NEAR_ENOUGH = 1e-9


def recompute_witness_check(
    run: int, events: Sequence[Event], readings_of: ReadingsOf, entries: Mapping[str, Mapping[str, Any]]
) -> Recomputed:
    """Work out again from raw readings what a witness check put into the register.

    Parameters
    ----------
    run : int
    events : sequence of Event
    readings_of : callable
        Cited readings.
    entries : Mapping[str, Mapping]
        Content of the register's entries by their digest.

    Raises
    ------
    RecomputeError
        If it put nothing there, or its readings are gone.
    """
    last = events[-1] if events else None
    if last is None or last.kind != Kind.FINISHED or last.payload["register"] not in entries:
        raise RecomputeError(
            f"Witness check {run:04d} put nothing into the register: nothing to compare with."
        )
    again = [_again(run, event, events[0].payload["probe"], readings_of) for event in events]
    rows = [
        (f"{name} of reading {at}", float(event.payload[name]), float(payload[name]))
        for at, (event, payload) in enumerate(zip(events, again, strict=True))
        if event.kind == Kind.READ
        for name in ("reference_c", "u_reference_k", "shown_c", "scatter_k", "drift_k_per_min")
    ]
    now = state_of(
        Event(kind=event.kind, payload=payload) for event, payload in zip(events, again, strict=True)
    )
    kept = entries[last.payload["register"]]["point"]
    if len(kept) != len(rows_of(now)):
        raise RecomputeError(f"Witness check {run:04d} read another number of points than the register has.")
    rows += [
        (f"{name} of point {at}", float(then[name]), float(new[name]))
        for at, (then, new) in enumerate(zip(kept, rows_of(now), strict=True), start=1)
        for name in ("shown_c", "correction_k", "expanded_u_k")
    ]
    differing = [
        f"{name}: {then!r} is now {new!r}"
        for name, then, new in rows
        if not math.isclose(then, new, rel_tol=_NEAR_ENOUGH, abs_tol=_NEAR_ENOUGH)
    ]
    return Recomputed(
        what=f"witness check {run:04d}",
        difference=differing[0] if differing else None,
        rows=tuple((name, repr(then), repr(new)) for name, then, new in rows),
    )


def _again(run: int, event: Event, probe: Mapping[str, Any], readings_of: ReadingsOf) -> Mapping[str, Any]:
    """Payload of an event, what was read worked out anew."""
    if event.kind != Kind.READ or not event.payload["cites"]:  # typed: that is all there is
        return event.payload
    cited = Citation.from_json(event.payload["cites"])
    packs = readings_of(cited)
    if not packs:
        raise RecomputeError(f"The readings are gone: {cited.words()}. Look for a backup with them.")
    return read_again(packs, probe)
