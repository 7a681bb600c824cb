"""Infrared checks: begun, added to and finished, each an append-only log of events."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import tzinfo
from functools import partial
from typing import Any

from calibration.errors import CalibrationError
from host.certificates.as_found import AsFound
from host.certificates.certificate import Certificate
from host.citation import Citation
from host.errors import DeskError
from host.local_time import local_day
from host.procedures.authorisation import let_out
from host.procedures.event import Event, led_to
from host.procedures.infrared.infrared_card import card_of
from host.procedures.infrared.infrared_check import InfraredState, Kind, advance
from host.procedures.infrared.infrared_result import as_found_of, certificate_of
from host.procedures.infrared.infrared_settings import InfraredSettings
from host.procedures.infrared.set_points import accept_air, accept_set_points
from host.procedures.logged import append_pressed, events_of_kind, span_of
from host.procedures.run_kind import RunKind
from host.procedures.step_card import StepCard
from host.shop import Shop
from host.store import Store
from host.store.drafts import draft_name
from host.store.runs import EventAfter


@dataclass(frozen=True, slots=True, kw_only=True)
class InfraredView:
    """An infrared check as a page shows it; no card where it is over.

    Attributes
    ----------
    run : int
    state : InfraredState
    card : StepCard or None
    started_utc_s : float
        [s]
    logged : int
        How many events it was made of; what is added on that page follows these.
    passed_over : int
        How many of them could not follow.
    """

    run: int
    state: InfraredState
    card: StepCard | None
    started_utc_s: float
    logged: int
    passed_over: int


class InfraredRuns:
    """Infrared checks of one store."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def start(self, settings: InfraredSettings) -> int:
        """Begin a check; its number.

        Raises
        ------
        DeskError
            If target, air or set points are refused, or the first check is none or of another thermometer.
        """
        try:
            settings.accept_plate()
            settings.accept_spot()
            accept_air(settings.air_c)
            accept_set_points(settings.set_points_c, air_c=settings.air_c)
        except CalibrationError as error:
            raise DeskError(str(error)) from error
        if settings.as_left_of is not None:
            self._accept_as_left(settings, settings.as_left_of)
        run = self._store.runs.create(
            station=settings.station or None, kind=RunKind.INFRARED_CHECK, settings=settings.as_json()
        )
        self._store.runs.append(run, Kind.STARTED, {"settings": settings.as_json()}, after=0)
        return run

    def add(self, run: int, kind: Kind, payload: Mapping[str, Any], *, after: int | None = None) -> None:
        """Append an event.

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
            If the check is over, there is none of that number, or the event cannot follow: a page that is
            older than the run.
        """
        view = self.view(run)
        if view.state.is_over:
            raise DeskError(f"Infrared check {run:04d} is over. Start a new one.")
        append_pressed(
            self._store,
            run,
            Event(kind=kind, payload=payload),
            follows=partial(advance, view.state),
            logged=view.logged,
            after=after,
            cites=Citation.from_json(payload["cites"]) if payload.get("cites") else None,
        )

    def conclude(self, run: int, *, shop: Shop, zone: tzinfo | None) -> None:
        """Judge what was shot and let its certificate out, or keep its draft. Once more changes nothing.

        Raises
        ------
        DeskError
            If set points are open, nothing can be judged, or it has gone on.
        """
        view = self.view(run)
        if not view.state.has_paper:
            self._let_out(view, shop, zone)
        self._store.runs.end(run)

    def stop(self, run: int, reason: str) -> None:
        """Stop a check for good; stopping it again changes nothing."""
        if not self.view(run).state.is_over:
            self.add(run, Kind.STOPPED, {"reason": reason})
            self._store.runs.end(run)

    def view(self, run: int) -> InfraredView:
        """A check, open or over.

        Raises
        ------
        DeskError
            If there is none of that number.
        """
        events = events_of_kind(self._store, run, RunKind.INFRARED_CHECK, what="infrared check")
        state, passed_over = led_to(InfraredState(), events, advance)
        return InfraredView(
            run=run,
            state=state,
            card=None if state.is_over else card_of(state),
            started_utc_s=self._store.runs.get(run).started_utc_s,
            logged=len(events),
            passed_over=passed_over,
        )

    def as_left_of(self, run: int) -> int | None:
        """Newest second check of the same thermometer."""
        for other in reversed(self._store.runs.of_kind(RunKind.INFRARED_CHECK)):
            if other.settings.get("as_left_of") == run:
                return other.number
        return None

    def _accept_as_left(self, settings: InfraredSettings, first: int) -> None:
        """Refuse a second check that is none of the same thermometer."""
        state = self.view(first).state
        if not state.has_paper:
            raise DeskError(f"Run {first:04d} has no certificate: finish it first.")
        if settings.thermometer_words != state.started.thermometer_words:
            raise DeskError(
                f"Run {first:04d} found {state.started.thermometer_words}, and this is "
                f"{settings.thermometer_words}: a check as left is one of the same thermometer. Choose that "
                "one, or begin a check of its own."
            )

    def _let_out(self, view: InfraredView, shop: Shop, zone: tzinfo | None) -> None:
        state, run = view.state, view.run
        if state.is_stopped or state.point_c is not None:
            raise DeskError("Not every set point is read: go on with the step that the page shows.")
        measured, found = span_of(self._store, run, Kind.SHOT, zone), self._found(state, zone)
        issued = local_day(self._store.now(), zone)

        def of_number(number: str) -> Certificate:
            return certificate_of(
                state, run=run, number=number, shop=shop, issued=issued, measured=measured, as_found=found
            )

        try:
            let_out(
                self._store,
                run,
                of_number,
                measured_by=state.started.operator,
                event=EventAfter(kind=Kind.RESULT, after=view.logged),
            )
        except CalibrationError as error:
            raise DeskError(str(error)) from error

    def _found(self, state: InfraredState, zone: tzinfo | None) -> AsFound | None:
        first = state.started.as_left_of
        if first is None:
            return None
        return as_found_of(
            self.view(first).state,
            number=self._paper_name(first),
            measured=span_of(self._store, first, Kind.SHOT, zone),
            done=state.started.done,
        )

    def _paper_name(self, run: int) -> str:
        """Number of the certificate of a run, or name of its draft."""
        issued = self._store.certificates.of_run(run)
        return issued[-1].number if issued else draft_name(self._store.drafts.of_run(run)[-1].draft)
