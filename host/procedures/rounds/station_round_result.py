"""What a round comes to: stations compared, one sentence, the next action, the certificate as a value."""

from collections.abc import Sequence
from datetime import date

from calibration.rounding import decimals_of, rounded_text
from calibration.temperature_scale import FAHRENHEIT_PER_K
from host.certificates.bodies.station_round import RoundComparison, StationResult, StationRoundBody
from host.certificates.certificate import Certificate, InstrumentUsed
from host.citation import words_by_boot
from host.procedures.rounds.station_round import Entry, Source, StationRoundState
from host.procedures.rounds.station_round_settings import METHOD_VERSION, Quantity, StationRoundSettings
from host.shop import Shop
from host.software_versions import software_versions

METHOD = "Round: one artefact at every station, En numbers and Algorithm A (ISO 13528:2015)"
NO_SOURCE = "no reference was given"
UNCHANGED = (
    "The artefact is taken not to have changed on its way; what it may have drifted is in no uncertainty "
    "here."
)
DEPENDENT = "The reference was measured at one of the stations itself: its En number there is not independent"
#: More stations that are off than these are counted and not named.
_MOST_NAMED = 3


def comparison_of(state: StationRoundState) -> RoundComparison | None:
    """Stations whose results count, compared; None where there are none yet."""
    counted, settings = state.counted, state.started
    if not counted:
        return None
    return RoundComparison.of(
        {station: entry.stated for station, entry in counted.items()},
        at=settings.at_words,
        quantity=settings.quantity.words,
        unit=settings.quantity.unit,
        reference=settings.reference,
        reference_words=settings.reference_words or NO_SOURCE,
    )


def body_of(state: StationRoundState) -> StationRoundBody | None:
    """The same as a certificate has it."""
    comparison, settings = comparison_of(state), state.started
    if comparison is None:
        return None
    return StationRoundBody(
        artefact=f"{settings.artefact}; {settings.kept}" if settings.kept else settings.artefact,
        points=(comparison,),
        next_action=next_action_of(comparison, settings.quantity),
    )


def sentence_of(one: RoundComparison) -> str:
    """Which station is off and by how much, in one sentence."""
    if one.why_no_en:
        return (
            f"{_count(len(one.stations))} measured at {one.at}; which of them is right cannot be told "
            "without a reference."
        )
    against = "the reference" if one.reference is not None else "the other stations"
    off = sorted(one.off, key=lambda station: -abs(station.en or 0.0))
    others = len(one.stations) - len(off)
    if one.not_told and not off:
        return (
            f"{_count(len(one.stations))} measured at {one.at} lie further apart than their uncertainties "
            "explain; which of them is right cannot be told without a reference."
        )
    if not off:
        if len(one.stations) == 1:
            (only,) = one.stations
            return f"{only.station} agrees with {against} within the uncertainty: it {_reads(only, one)}."
        how_many = "Both" if len(one.stations) == 2 else f"All {len(one.stations)}"
        return f"{how_many} stations agree with {against} within their uncertainty."
    if len(off) > _MOST_NAMED:
        worst = off[0]
        return (
            f"{len(off)} of {len(one.stations)} stations do not agree with {against}; {worst.station} is "
            f"furthest off and {_reads(worst, one)}."
        )
    named = " and ".join(f"{station.station} {_reads(station, one)}" for station in off)
    if one.not_told:
        return (
            f"{named} than {against}; of the others it cannot be told, as they lie further apart than their "
            "uncertainties explain."
        )
    if others:
        the_others = "the others agree" if others > 1 else "the other one agrees"
        return f"{named} than {against}; {the_others} within {'their' if others > 1 else 'its'} uncertainty."
    return f"{named} than {against}, more than the uncertainties explain."


def next_action_of(one: RoundComparison, quantity: Quantity) -> str:
    """What to do about it."""
    if one.why_no_en:
        return "Find a reference value of the artefact, or let more stations measure it."
    off = one.off
    if one.not_told and not off:
        return "Find a reference value of the artefact, or let more stations measure it."
    if not off:
        return "Nothing is to be done: keep this with the papers of the stations."
    sides = {(station.difference or 0.0) > 0.0 for station in off}
    if one.reference is not None and 2 * len(off) > len(one.stations) > 1 and len(sides) == 1:
        return (
            "Most stations lie on one side of the reference: have the artefact measured once more where the "
            "reference comes from, before any station is touched."
        )
    names = ", ".join(station.station for station in off)
    steps = (
        "clean and seat the clips, check the ohms against the decade box"
        if quantity is Quantity.RESISTANCE
        else "check the ohms against the decade box and the probe at ice and in boiling water"
    )
    return (
        f"Look at {names} first: {steps}, then measure the artefact there once more. Until then issue "
        "nothing that rests on it."
    )


def certificate_of(
    state: StationRoundState, *, run: int, number: str, shop: Shop, issued: date, measured: str
) -> Certificate:
    """Certificate of a round that may be closed.

    Raises
    ------
    ValueError
        If something is missing yet.
    """
    settings, body = state.started, body_of(state)
    if state.why_open or body is None:
        raise ValueError(state.why_open or "No station has a result yet.")
    counted = tuple(state.counted.values())
    return Certificate(
        number=number,
        issued=issued.isoformat(),
        measured=measured,
        shop=shop.name,
        shop_address=shop.address,
        item=settings.artefact,
        customer="",
        sentence=sentence_of(body.points[0]),
        method=f"{METHOD}, version {METHOD_VERSION} (run {run:04d})",
        body=body,
        simulated=state.is_simulated,
        instruments=_reference_used(settings),
        conditions=_conditions(settings),
        remarks=_remarks(state),
        not_done=_not_done(settings),
        external=_external(counted),
        citations=_citations(counted),
        software=software_versions(),
        operator=settings.operator,
    )


def _reads(station: StationResult, one: RoundComparison) -> str:
    difference, expanded_u = station.difference or 0.0, station.difference_expanded_u or 0.0
    size = _size(abs(difference), expanded_u, one.difference_unit)
    if float(rounded_text(difference, max(decimals_of(expanded_u), 0))) == 0.0:
        return f"reads the same: the difference is {size}"
    return f"reads {size} {'higher' if difference > 0.0 else 'lower'}"


def _size(size: float, expanded_u: float, unit: str) -> str:
    places = max(decimals_of(expanded_u), 0)
    text = f"{rounded_text(size, places)} {unit}"
    if unit != "K":
        return text
    fahrenheit = rounded_text(size * FAHRENHEIT_PER_K, max(decimals_of(expanded_u * FAHRENHEIT_PER_K), 0))
    return f"{text} ({fahrenheit} °F)"


def _count(stations: int) -> str:
    return "One station" if stations == 1 else f"{stations} stations"


def _reference_used(settings: StationRoundSettings) -> tuple[InstrumentUsed, ...]:
    content, reference = settings.reference_entry, settings.reference
    if not content or reference is None:
        return ()
    return (
        InstrumentUsed(
            role="artefact",
            serial=str(content["serial"]),
            certificate=f"{content['certificate']}, {content['issuer']}",
            expanded_u=f"{_to_its_u(reference.expanded_u, reference.expanded_u)} "
            f"{settings.quantity.difference_unit} (k = {reference.k:g})",
            due=str(content.get("due", "no date set")),
        ),
    )


def _conditions(settings: StationRoundSettings) -> tuple[tuple[str, str], ...]:
    said = (
        ("compared", f"{settings.quantity.words} at {settings.at_words}"),
        ("curve", settings.curve),
        ("artefact", settings.kept),
        ("last day of the readings", settings.read_by),
        ("job", settings.job),
    )
    return tuple((name, words) for name, words in said if words)


def _remarks(state: StationRoundState) -> tuple[str, ...]:
    unit, counted = state.started.quantity, state.counted
    left_out = [f"{station} was left out: {why}" for station, why in state.left_out.items()]
    kept = [
        f"Result {entry.number} of {entry.station} ({_stated(entry, unit)}) is kept and does not count"
        f"{_why(entry)}"
        for entry in state.entries
        if counted.get(entry.station) is not entry and entry.station not in state.left_out
    ]
    flagged = [
        f"Result {entry.number} of {entry.station} came {entry.flags} and counts{_why(entry)}"
        for entry in counted.values()
        if entry.flags
    ]
    measured_at = state.started.reference_station
    own = [f"{DEPENDENT} ({measured_at})."] if measured_at in counted else []
    return (UNCHANGED, *own, *left_out, *flagged, *kept)


def _why(entry: Entry) -> str:
    if entry.reason:
        return f": {entry.reason}"
    return f": it came {entry.flags}, and nobody said that it should." if entry.flags else "."


def _stated(entry: Entry, quantity: Quantity) -> str:
    u = entry.stated.expanded_u
    value = _to_its_u(entry.stated.value, u)
    return f"{value} {quantity.unit} ± {_to_its_u(u, u)} {quantity.difference_unit}"


def _to_its_u(value: float, expanded_u: float) -> str:
    return rounded_text(value, decimals_of(expanded_u))


def _not_done(settings: StationRoundSettings) -> tuple[str, ...]:
    return (
        f"Nothing is said of the stations away from {settings.at_words}, nor of another artefact.",
        *(() if settings.reference is not None else ("No reference measured the artefact.",)),
    )


def _external(counted: Sequence[Entry]) -> tuple[str, ...]:
    typed = [entry.station for entry in counted if entry.source is Source.TYPED]
    if not typed:
        return ()
    return (f"As the stations stated them, typed by hand and seen by nobody else: {', '.join(typed)}.",)


def _citations(counted: Sequence[Entry]) -> tuple[str, ...]:
    cited = [entry.cites for entry in counted if entry.cites is not None]
    return (*(f"{entry.station}: {entry.words}" for entry in counted), *words_by_boot(cited))
