"""Results of a round as tables and pictures."""

from collections.abc import Sequence

from calibration.temperature_scale import fahrenheit_from_celsius
from host.certificates.bodies.station_round import RoundComparison, StationResult, StationRoundBody
from host.certificates.reported import reported_texts
from host.certificates.results.results import (
    Bars,
    Column,
    ErrorBar,
    Results,
    ResultTable,
    Role,
    Section,
    Strip,
    StripBar,
    texts_of,
)

#: Stations under each other on one strip; more go on the next.
MOST_ON_A_STRIP = 16

EN_LINE = (
    "En is the difference over both expanded uncertainties together (ISO 13528:2015, 9.7): up to ±1 a "
    "station agrees. That it agrees is said of the comparison, and of no tolerance."
)
SHARED_LINE = (
    "Stations whose instruments rest on the same certificate are wrong together by part of their "
    "uncertainty; En does not see what they share."
)
OTHERS_LINE = (
    "There was no reference. Each station is held against the robust mean of the other stations, in which "
    "its own value has no part; U of that mean is 2 × 1.25 s*/√p of the others, or what they state "
    "themselves where that is more. Where that mean is over three times less sure than they state, or most "
    "are alike, others have carried it away: the median of those that do not stand out takes its place "
    "(C.2.1; U 2 × 1.25 of MADe/√p or of what they state), if more than half of all lie by it. Else no "
    "station is said to agree."
)
ROBUST_LINE = (
    "By Algorithm A (ISO 13528:2015, C.3.1); its standard uncertainty is 1.25 s*/√p (7.7.3). Each "
    "station's own value is in it, so no En number is made of it."
)


def station_round_results(body: StationRoundBody) -> Results:
    """Results of a round."""
    first = body.points[0]
    return Results(
        measurand=f"Comparison of stations, {first.quantity}",
        tables=tuple(_table(one, with_title=len(body.points) > 1) for one in body.points),
        bars=_bars(first),
        strips=tuple(strip for one in body.points for strip in _strips(one)),
        strips_words=_strips_words(first),
        facts=(("Artefact", body.artefact),),
        sections=(
            Section(title="Reference", lines=tuple(_reference_line(one) for one in body.points)),
            _robust(body),
            Section(title="En number", lines=_en_lines(body)),
            *((Section(title="What to do", lines=(body.next_action,)),) if body.next_action else ()),
        ),
        headline=" ".join(headline_of(one) for one in body.points),
    )


def headline_of(one: RoundComparison) -> str:
    """How many agree, in a few words."""
    count, off = len(one.stations), len(one.off)
    if one.why_no_en:
        return "No statement on a single station"
    against = "the reference" if one.reference is not None else "the others"
    if count == 1:
        return f"The station {'agrees' if not off else 'does not agree'} with {against}"
    if not off and one.not_told:
        return f"No statement on {'a single station' if len(one.not_told) == count else len(one.not_told)}"
    if not off:
        return f"All {count} stations agree with {against}"
    return f"{off} of {count} stations {'does' if off == 1 else 'do'} not agree with {against}"


def _table(one: RoundComparison, *, with_title: bool) -> ResultTable:
    stations = one.stations
    rows = [dict(reported_texts(station)) for station in stations]
    value = Column(
        key="value",
        name=one.quantity,
        unit=one.unit,
        role=Role.SHOWN,
        texts=texts_of(rows, "value"),
        values=tuple(station.value for station in stations),
        expanded_u=tuple(station.expanded_u for station in stations),
        u_texts=texts_of(rows, "expanded_u"),
        prints_u=True,
    )
    return ResultTable(
        title=one.at if with_title else "",
        labels=(("station", tuple(station.station for station in stations)),),
        columns=(value, *_in_fahrenheit(one), *_compared(one, rows)),
        k=tuple(station.k for station in stations),
        verdicts=tuple(station.agreement for station in stations),
        note=_note(one),
    )


def _in_fahrenheit(one: RoundComparison) -> tuple[Column, ...]:
    if one.unit != "°C":
        return ()
    texts = tuple(f"{fahrenheit_from_celsius(station.value):.1f}" for station in one.stations)
    return (Column(key="value_f", name="", unit="°F", role=Role.REPEATED, texts=texts),)


def _compared(one: RoundComparison, rows: Sequence[dict[str, str]]) -> tuple[Column, ...]:
    """Difference and En number; none where there is nothing to hold the stations against."""
    if one.why_no_en:
        return ()
    stations = one.stations
    return (
        Column(
            key="difference",
            name="difference",
            unit=one.difference_unit,
            role=Role.ERROR,
            texts=texts_of(rows, "difference"),
            values=tuple(station.difference for station in stations),
            expanded_u=tuple(station.difference_expanded_u or 0.0 for station in stations),
            u_texts=texts_of(rows, "difference_expanded_u"),
            prints_u=True,
            k=tuple(_k_of_difference(one, station) for station in stations),
        ),
        Column(
            key="en",
            name="En",
            unit="",
            role=Role.DERIVED,
            texts=texts_of(rows, "en"),
            values=tuple(station.en for station in stations),
        ),
    )


def _k_of_difference(one: RoundComparison, station: StationResult) -> float:
    """Both expanded uncertainties together over both standard ones."""
    other_k = one.reference_k or 2.0
    other_u, together_u = station.assigned_expanded_u or 0.0, station.difference_expanded_u or 0.0
    return together_u / ((station.expanded_u / station.k) ** 2 + (other_u / other_k) ** 2) ** 0.5


def _note(one: RoundComparison) -> str:
    k = "k belongs to the station's own U; the difference has both uncertainties together."
    if one.why_no_en:
        return one.why_no_en
    if one.reference is None:
        untold = " Where no verdict stands, the others lie too far apart for one." if one.not_told else ""
        return f"The difference is from the robust mean or median of the other stations. {k}{untold}"
    return f"The difference is from the reference, {_reference_line(one)}. {k}"


def _strips(one: RoundComparison) -> tuple[Strip, ...]:
    """Stations under each other, what they are held against above them."""
    first = _first_bar(one)
    bars = [
        StripBar(
            name=station.station,
            value=station.value,
            expanded_u=station.expanded_u,
            agreement=station.agreement,
            difference=station.difference,
        )
        for station in one.stations
    ]
    starts = range(0, len(bars), MOST_ON_A_STRIP)
    return tuple(
        Strip(
            title=one.at,
            bars=(*first, *bars[start : start + MOST_ON_A_STRIP]),
            verdict=None,
            unit=one.unit,
        )
        for start in starts
    )


def _strips_words(one: RoundComparison) -> str:
    if one.reference is not None or one.why_no_en:
        return ""
    return f"Who says what, in {one.unit}, each with its U: ◆ does not agree with the other stations."


def _first_bar(one: RoundComparison) -> tuple[StripBar, ...]:
    if one.reference is not None and one.reference_expanded_u is not None:
        return (StripBar(name="reference", value=one.reference, expanded_u=one.reference_expanded_u),)
    if one.robust_mean is not None and one.robust_standard_u:
        return (StripBar(name="robust mean", value=one.robust_mean, expanded_u=2.0 * one.robust_standard_u),)
    return ()


def _reference_line(one: RoundComparison) -> str:
    texts = reported_texts(one)
    if one.reference is None:
        return f"{one.at}: none"
    return (
        f"{one.at}: {texts['reference']} {one.unit} ± {texts['reference_expanded_u']} "
        f"{one.difference_unit} (k = {texts['reference_k']}), {one.reference_words}"
    )


def _en_lines(body: StationRoundBody) -> tuple[str, ...]:
    no_reference = any(one.reference is None and not one.why_no_en for one in body.points)
    shared = any(len(one.stations) > 1 for one in body.points)
    return (
        EN_LINE,
        *((OTHERS_LINE,) if no_reference else ()),
        *((SHARED_LINE,) if shared else ()),
        *(f"{one.at}: {one.why_no_en}" for one in body.points if one.why_no_en),
    )


def _robust(body: StationRoundBody) -> Section:
    lines = []
    for one in body.points:
        if one.robust_mean is None:
            lines.append(f"{one.at}: none. {one.why_no_robust}")
            continue
        texts = reported_texts(one)
        lines.append(
            f"{one.at}: {texts['robust_mean']} {one.unit}, standard uncertainty "
            f"{texts['robust_standard_u']} {one.difference_unit}; robust standard deviation s* "
            f"{texts['robust_spread']} {one.difference_unit}, of {len(one.stations)} stations."
        )
    if any(one.robust_mean is not None for one in body.points):
        lines.append(ROBUST_LINE)
    return Section(title="Robust mean", lines=tuple(lines))


def _bars(one: RoundComparison) -> Bars | None:
    if one.why_no_en:
        return None
    against = "the reference" if one.reference is not None else "the others"
    return Bars(
        bars=tuple(
            _bar(station, place, one.difference_unit, against)
            for place, station in enumerate(one.stations, start=1)
        ),
        title=f"Difference in {one.difference_unit}, with both U together",
        across="",
        names=tuple(station.station for station in one.stations),
    )


def _bar(station: StationResult, place: int, unit: str, against: str) -> ErrorBar:
    texts = reported_texts(station)
    words = "cannot be told" if station.agreement is None else station.agreement.words
    return ErrorBar(
        at=float(place),
        error=station.difference or 0.0,
        expanded_u=station.difference_expanded_u or 0.0,
        limits=(None, None),
        verdict=station.agreement,
        said=f"{station.station}: {texts['difference']} {unit} from {against}, "
        f"± {texts['difference_expanded_u']} {unit}, En {texts['en']}: {words}.",
    )
