"""Comparisons on the vehicle: begun, added to and finished, each an append-only log of events."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

from calibration.curves import ReferenceCurve
from calibration.errors import CurveError
from host.certificates.certificate import Certificate
from host.curve_choice import text_of_curve
from host.errors import DeskError
from host.local_time import local_day, zone_to_keep
from host.procedures.authorisation import let_out, paper_of
from host.procedures.event import Event, led_to
from host.procedures.logged import append_pressed, events_of_kind
from host.procedures.run_kind import RunKind
from host.procedures.vehicle.in_place import InPlaceSettings, InPlaceState, Kind, advance
from host.procedures.vehicle.in_place_record import has_readings, record_of
from host.procedures.vehicle.in_place_result import InPlaceResult, result_of
from host.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class InPlaceView:
    """A comparison as a page shows it.

    Attributes
    ----------
    run : int
    state : InPlaceState
    result : InPlaceResult
    curve : ReferenceCurve
    started_utc_s : float
        [s]
    logged : int
        How many events it was made of; what is added on that page follows these.
    passed_over : int
        How many of them could not follow.
    """

    run: int
    state: InPlaceState
    result: InPlaceResult
    curve: ReferenceCurve
    started_utc_s: float
    logged: int
    passed_over: int


class InPlaceRuns:
    """Comparisons on the vehicle of one store.

    Parameters
    ----------
    store : Store
    """

    def __init__(self, store: Store) -> None:
        self._store = store

    def start(self, *, item: str, curve: str, job: str = "", operator: str = "") -> int:
        """Begin a comparison; its number.

        Raises
        ------
        DeskError
            If there is no such curve.
        """
        try:
            toml = text_of_curve(curve, self._store.curves)
        except CurveError as error:
            raise DeskError(str(error)) from error
        settings = InPlaceSettings(
            item=item,
            curve=curve,
            curve_toml=toml,
            job=job,
            operator=operator,
            time_zone=zone_to_keep(self._store.settings.read().time_zone, self._store.now()),
        )
        run = self._store.runs.create(station=None, kind=RunKind.IN_PLACE, settings=settings.as_json())
        self._store.runs.append(run, Kind.STARTED, {"settings": settings.as_json()}, after=0)
        return run

    def add(
        self, run: int, kind: Kind, payload: Mapping[str, Any], *, after: int | None = None
    ) -> InPlaceView:
        """Append an event and return what it leads to.

        Parameters
        ----------
        run : int
        kind : Kind
        payload : Mapping[str, Any]
        after : int, optional
            How many events the page showed on which it was added; by default as many as there are.

        Raises
        ------
        DeskError
            If the comparison is over, has gone on, or there is none of that number.
        """
        view = self.view(run)
        if view.state.is_over:
            raise DeskError(f"Comparison {run:04d} is over. Start a new one.")
        append_pressed(
            self._store,
            run,
            Event(kind=kind, payload=payload),
            follows=partial(advance, view.state),
            logged=view.logged,
            after=after,
        )
        return self.view(run)

    def finish(self, run: int) -> None:
        """Close a comparison with what it came to, and let its record out; again changes nothing.

        Raises
        ------
        DeskError
            If nothing can be said yet, or a thermometer failed or lost its certificate since it was read.
        """
        view = self.view(run)
        if view.state.is_over:
            self._let_out(view)
            return
        if view.result.comparison is None and not view.result.findings:
            raise DeskError("Nothing can be compared yet: take two readings at least, or stop it.")
        self._refuse_lost(view.state)
        said = {"words": view.result.words, "next_action": view.result.next_action}
        finished = self.add(run, Kind.FINISHED, said, after=view.logged)
        self._store.runs.end(run)
        self._let_out(finished)

    def stop(self, run: int, reason: str) -> None:
        """Stop a comparison for good; stopping it again changes nothing."""
        if not self.view(run).state.is_over:
            self.add(run, Kind.STOPPED, {"reason": reason})
            self._store.runs.end(run)

    def view(self, run: int) -> InPlaceView:
        """A comparison, open or over.

        Raises
        ------
        DeskError
            If there is none of that number.
        """
        events = events_of_kind(self._store, run, RunKind.IN_PLACE, what="comparison on the vehicle")
        state, passed_over = led_to(InPlaceState(), events, advance)
        curve = state.started.reference
        return InPlaceView(
            run=run,
            state=state,
            result=result_of(state, curve),
            curve=curve,
            started_utc_s=self._store.runs.get(run).started_utc_s,
            logged=len(events),
            passed_over=passed_over,
        )

    def _refuse_lost(self, state: InPlaceState) -> None:
        """Refuse a reading that was corrected by what no longer holds."""
        register, settings = self._store.register, self._store.settings.read()
        today = local_day(self._store.now(), settings.zone)
        used = {taken.thermometer_sha256: step for step, taken in state.taken.items()}
        for entry in register.all():
            if entry.sha256 not in used:
                continue
            try:
                register.refuse_if_lost(
                    entry.content, today=today, months_by_kind=settings.recalibration_months
                )
            except DeskError as error:
                name = used[entry.sha256].value.replace("_", " ")
                raise DeskError(f"{error} Strike out the reading of the {name} first.") from error

    def _let_out(self, view: InPlaceView) -> None:
        """Put a finished comparison on paper once, also where the desk was killed in between."""
        store, run = self._store, view.run
        if paper_of(store, run) or not view.state.is_finished or not has_readings(view.state):
            return
        shop, now_utc_s = store.settings.read().shop, store.now()

        def record(number: str) -> Certificate:
            return record_of(
                view.state,
                view.result,
                number=number,
                shop=shop,
                run=run,
                read_utc_s=(view.started_utc_s, now_utc_s),
            )

        let_out(store, run, record, measured_by=view.state.started.operator)
