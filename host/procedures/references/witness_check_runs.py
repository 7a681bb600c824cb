"""Witness checks of one store: begun, read and finished, each an append-only log of events."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

from calibration.bath.fixed_points import FixedPoint
from host.contact_reference import BATH_READING, ContactReference, read_by_hand, read_by_probe
from host.errors import DeskError
from host.live import Live
from host.procedures.event import Event
from host.procedures.logged import events_of_kind

#: Fewest temperatures of a check. A choice of ours, as the next is.
from host.procedures.references.witness_check import (
    APART_K,
    LEAST_POINTS,
    RESOLUTION_K,
    Kind,
    WitnessState,
    advance,
    corrections_of,
    reading_of,
    state_of,
)
from host.procedures.run_kind import RunKind
from host.readings_of_now import readings_of_now
from host.shop import Shop
from host.store import Store

#: Of a bath that stands still by the eye alone; nobody reads a slope off two displays. Assumed. [K/min]
DRIFT_BY_EYE_K_PER_MIN = 0.5
_NEWEST_PACKS = 200


class WitnessChecks:
    """Witness checks of one store."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def start(
        self,
        *,
        station: str,
        serial: str,
        probe: Mapping[str, Any],
        simulated: bool,
        resolution_k: float = RESOLUTION_K,
    ) -> int:
        """Begin a check; its number. Without a station both are read by hand. [K]"""
        content = {
            "station": station,
            "serial": serial,
            "probe": dict(probe),
            "simulated": simulated,
            "resolution_k": resolution_k,
        }
        begun = advance(WitnessState(), Event(kind=Kind.STARTED, payload=content))
        run = self._store.runs.create(
            station=station or None,
            kind=RunKind.WITNESS_CHECK,
            settings={"item": begun.what, **content},
        )
        self._store.runs.append(run, Kind.STARTED, content, after=0)
        return run

    def read(self, run: int, *, live: Live) -> None:
        """Read both now.

        Raises
        ------
        DeskError
            If the station is silent, they cannot be read, do not stand still, or were read near this
            temperature already.
        """
        state, logged = self._open(run)
        if not state.station:
            raise DeskError("No station reads this one: type what both thermometers say.")
        packs = readings_of_now(self._store, live, state.station, _NEWEST_PACKS)
        reference = read_by_probe(packs, state.probe or {}, taking=BATH_READING)
        _refuse_near(state, reference)
        payload = reading_of(packs, reference)
        cites = reference.cites
        self._store.runs.append(
            run,
            Kind.READ,
            {**payload, "cites": cites.as_json() if cites else None},
            after=logged,
            cites=cites,
        )

    def read_typed(self, run: int, *, reference_shown_c: float, shown_c: float) -> None:
        """Take what two displays say, read by hand. [°C]

        Raises
        ------
        DeskError
            If a station reads them, the reference may not be used there, or they were read near this
            temperature already.
        """
        state, logged = self._open(run)
        if state.station:
            raise DeskError(f"{state.station} reads both itself: press “Read both now”.")
        if not state.probe:
            raise DeskError("This check has ice and boiling water alone: type what it says there.")
        reference = read_by_hand(reference_shown_c, state.probe)
        words = f"{reference.words}; both read by hand"
        self._take_typed(run, state, logged, replace(reference, words=words), shown_c, DRIFT_BY_EYE_K_PER_MIN)

    def read_in(self, run: int, fixed: FixedPoint, *, shown_c: float) -> None:
        """Take what a display says in melting ice or in boiling water. [°C]

        Raises
        ------
        DeskError
            If a station reads it, or it was read near this temperature already.
        """
        state, logged = self._open(run)
        if state.station:
            raise DeskError(f"{state.station} reads this one: its probe has a check of its own for ice.")
        words = "melting ice"
        if fixed.pressure_kpa is not None:
            words = f"water boiling at {10.0 * fixed.pressure_kpa:.1f} hPa"
        reference = ContactReference(
            temperature_c=fixed.temperature_c, u_k=fixed.budget.standard_u, words=f"{words}, read by hand"
        )
        self._take_typed(run, state, logged, reference, shown_c, 0.0)  # it stands still by itself

    def _take_typed(
        self,
        run: int,
        state: WitnessState,
        logged: int,
        reference: ContactReference,
        shown_c: float,
        drift_k_per_min: float,
    ) -> None:
        _refuse_near(state, reference)
        payload = {
            "reference_c": reference.temperature_c,
            "u_reference_k": reference.u_k,
            "shown_c": shown_c,
            "scatter_k": 0.0,
            "drift_k_per_min": drift_k_per_min,
            "words": reference.words,
            "resolution_k": state.resolution_k,
            "cites": None,
        }
        self._store.runs.append(run, Kind.READ, payload, after=logged)

    def keep(self, run: int) -> None:
        """End a check as a record: two points verify a thermometer, and give no corrections between them.

        Raises
        ------
        DeskError
            If nothing was read, or it was ended otherwise.
        """
        if self.state(run).is_record_alone:
            return
        state, logged = self._open(run)
        if not state.readings:
            raise DeskError("Nothing was read yet: type what it says in ice or in boiling water.")
        self._store.runs.append(run, Kind.FINISHED, {"register": None}, after=logged)
        self._store.runs.end(run)

    def finish(self, run: int, *, shop: Shop, today: date) -> None:
        """Put what was found into the register; once more changes nothing.

        Raises
        ------
        DeskError
            If temperatures are missing, it was stopped, or it has gone on.
        """
        if self.state(run).is_in_register:
            return
        state, logged = self._open(run)
        if not state.may_finish:
            raise DeskError(
                f"A witness is read at {LEAST_POINTS} temperatures: {len(state.readings)} so far."
            )
        kept_at = self._store.register.kept_at("witness", state.serial)
        entry = self._store.register.add(
            corrections_of(state, run=run, shop=shop, today=today, kept_at=kept_at)
        )
        self._store.runs.append(run, Kind.FINISHED, {"register": entry.sha256}, after=logged)
        self._store.runs.end(run)

    def stop(self, run: int, reason: str) -> None:
        """Stop a check for good; stopping it again changes nothing."""
        if self.state(run).reason:
            return
        _, logged = self._open(run)
        self._store.runs.append(run, Kind.STOPPED, {"reason": reason}, after=logged)
        self._store.runs.end(run)

    def state(self, run: int) -> WitnessState:
        """A check, open or over.

        Raises
        ------
        DeskError
            If there is none of that number.
        """
        return state_of(self._events(run))

    def history(self) -> list[tuple[int, float, WitnessState]]:
        """Number, time and state of every check, the newest first. [s]"""
        return [
            (run.number, run.started_utc_s, self.state(run.number))
            for run in reversed(self._store.runs.of_kind(RunKind.WITNESS_CHECK))
        ]

    def _open(self, run: int) -> tuple[WitnessState, int]:
        """A check that is not over, and how many events it was made of."""
        events = self._events(run)
        state = state_of(events)
        if state.is_over:
            raise DeskError(f"Witness check {run:04d} is over. Start a new one.")
        return state, len(events)

    def _events(self, run: int) -> list[Event]:
        return events_of_kind(self._store, run, RunKind.WITNESS_CHECK, what="witness check")


def _refuse_near(state: WitnessState, reference: ContactReference) -> None:
    """Refuse a temperature that was read already."""
    near = [one for one in state.readings if abs(one.reference_c - reference.temperature_c) < APART_K]
    if near:
        further = f"bring the bath {APART_K:g} K further"
        if state.is_in_fixed_points_alone:
            further = "take the other of ice and boiling water, or end it"
        raise DeskError(f"It was read at {near[0].reference_c:.1f} °C already: {further}.")
