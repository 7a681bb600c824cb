"""The record of a comparison on the vehicle: what was read, and what follows from it. No certificate."""

import math
from datetime import UTC, datetime, tzinfo

from host.certificates.bodies.in_place import InPlaceBody, RecordedFinding, RecordedReading, gaps_of
from host.certificates.certificate import Certificate
from host.local_time import kept_zone, local_span
from host.procedures.vehicle.in_place import InPlaceState, Step
from host.procedures.vehicle.in_place_result import InPlaceResult
from host.shop import Shop
from host.software_versions import software_versions

METHOD = "Comparison on the vehicle"
ASSUMED_LINES = (
    "How far a reading may stand off the coolant is assumed, after common practice in the trade; so is what "
    "each part may add and still be called sound.",
    "A leaning thermometer, a hose that was taken for another or a belt's draught would not show.",
)


def record_of(
    state: InPlaceState,
    result: InPlaceResult,
    *,
    number: str,
    shop: Shop,
    run: int,
    read_utc_s: tuple[float, ...],
) -> Certificate:
    """Record of a comparison that came to its end.

    Parameters
    ----------
    state : InPlaceState
    result : InPlaceResult
        What its readings come to.
    number : str
    shop : Shop
    run : int
    read_utc_s : tuple[float, ...]
        When its readings were taken, in any order. [s]
    """
    settings = state.started
    return Certificate(
        number=number,
        issued=datetime.now(UTC).date().isoformat(),
        measured=_measured(read_utc_s, kept_zone(settings.time_zone)),
        shop=shop.name,
        shop_address=shop.address,
        item=settings.item,
        customer="",
        sentence=result.words,
        method=f"{METHOD}, version {settings.method_version} (run {run:04d})",
        body=_body(state, result),
        simulated=state.is_simulated,
        conditions=_conditions(state),
        remarks=ASSUMED_LINES,
        not_done=tuple(f"Left out: {_words(step)}." for step in Step if step in state.skipped),
        citations=(f"what was typed in run {run:04d}",),
        software=software_versions(),
        operator=settings.operator,
    )


def has_readings(state: InPlaceState) -> bool:
    """Whether there is anything to print: the box alone leaves the vehicle's own readings out."""
    return bool(state.readings)


def _body(state: InPlaceState, result: InPlaceResult) -> InPlaceBody:
    return InPlaceBody(
        curve=state.started.curve,
        thermostat="not looked at" if state.thermostat is None else state.thermostat.value,
        points=tuple(
            RecordedReading(
                where=taken.reading.where.value,
                temperature_c=taken.reading.temperature_c,
                expanded_u_k=taken.reading.expanded_u_k,
                words=taken.words or taken.typed,
            )
            for step in Step
            if (taken := state.taken.get(step)) is not None
        ),
        gaps=() if result.comparison is None else gaps_of(result.comparison),
        findings=tuple(
            RecordedFinding.of(finding) for finding in result.findings if math.isfinite(finding.expanded_u_k)
        ),
        witnesses=result.witnesses,
        words=result.words,
        next_action=result.next_action,
    )


def _conditions(state: InPlaceState) -> tuple[tuple[str, str], ...]:
    said = (
        ("job", state.started.job),
        *((_words(step), box.words) for step, box in state.boxes.items()),
    )
    return tuple((name, words) for name, words in said if words)


def _measured(read_utc_s: tuple[float, ...], zone: tzinfo) -> str:
    if not read_utc_s:
        return "time unknown"
    return local_span(min(read_utc_s), max(read_utc_s), zone)


def _words(step: Step) -> str:
    return step.value.replace("_", " ")
