"""Results of a round as tables and pictures."""

from host.certificates.bodies.station_round import K_OF_A_ROUND, RoundComparison, StationRoundBody
from host.certificates.certificate import Witness
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
    texts_of,
)

#: More stations than this stand in the chart alone.
MOST_ON_A_STRIP = 8

EN_LINE = (
    "En is the difference from the reference over both expanded uncertainties together (ISO 13528:2015, "
    "9.7): up to ±1 a station is satisfactory, and is called in tolerance here."
)


def station_round_results(body: StationRoundBody) -> Results:
    """Results of a round."""
    first = body.points[0]
    return Results(
        measurand=f"Comparison of stations, {first.quantity}",
        tables=tuple(_table(one, with_title=len(body.points) > 1) for one in body.points),
        bars=_bars(first),
        strips=tuple(strip for one in body.points if (strip := _strip(one)) is not None),
        facts=(("Artefact", body.artefact),),
        sections=(
            Section(title="Reference", lines=tuple(_reference_line(one) for one in body.points)),
            *_robust(body),
            Section(title="En number", lines=(EN_LINE,)),
        ),
    )


def _table(one: RoundComparison, *, with_title: bool) -> ResultTable:
    rows = [dict(reported_texts(station)) for station in one.stations]
    difference = [station.value - one.reference for station in one.stations]
    return ResultTable(
        title=one.at if with_title else "",
        labels=(("station", tuple(station.station for station in one.stations)),),
        columns=(
            Column(
                key="value",
                name=one.quantity,
                unit=one.unit,
                role=Role.SHOWN,
                texts=texts_of(rows, "value"),
                values=tuple(station.value for station in one.stations),
                expanded_u=tuple(station.expanded_u for station in one.stations),
                u_texts=texts_of(rows, "expanded_u"),
                prints_u=True,
            ),
            Column(
                key="en",
                name="En",
                unit="",
                role=Role.DERIVED,
                texts=texts_of(rows, "en"),
                values=tuple(station.en for station in one.stations),
            ),
        ),
        k=(K_OF_A_ROUND,) * len(difference),
        verdicts=tuple(station.verdict for station in one.stations),
        note=f"Reference: {_reference_line(one)}.",
    )


def _strip(one: RoundComparison) -> Strip | None:
    """Stations under each other, where they are few and temperatures are compared."""
    if one.unit != "°C" or len(one.stations) > MOST_ON_A_STRIP:
        return None
    reference = Witness(name="reference", temperature_c=one.reference, expanded_u_k=one.reference_expanded_u)
    stations = (
        Witness(name=station.station, temperature_c=station.value, expanded_u_k=station.expanded_u)
        for station in one.stations
    )
    return Strip(title=one.at, witnesses=(reference, *stations), verdict=None)


def _reference_line(one: RoundComparison) -> str:
    texts = reported_texts(one)
    return (
        f"{one.at}: {texts['reference']} {one.unit} ± {texts['reference_expanded_u']} "
        f"{'K' if one.unit == '°C' else one.unit} (k = 2), {one.reference_words}"
    )


def _robust(body: StationRoundBody) -> tuple[Section, ...]:
    lines = []
    for one in body.points:
        if one.robust_mean is None:
            continue
        texts = reported_texts(one)
        lines.append(
            f"{one.at}: {texts['robust_mean']} {one.unit} ± {texts['robust_expanded_u']} (k = 2), "
            f"standard deviation {texts['robust_spread']}, of {len(one.stations)} stations"
        )
    if not lines:
        return ()
    return (Section(title="Robust mean", lines=(*lines, "By Algorithm A (ISO 13528:2015, C.3.1).")),)


def _bars(one: RoundComparison) -> Bars:
    unit = "K" if one.unit == "°C" else one.unit
    return Bars(
        bars=tuple(
            ErrorBar(
                at=float(place),
                error=station.value - one.reference,
                expanded_u=station.expanded_u,
                limits=(-one.reference_expanded_u, one.reference_expanded_u),
                verdict=station.verdict,
                said=f"{station.station}: {station.value - one.reference:+.3g} {unit} from the reference, "
                f"± {station.expanded_u:.2g} {unit}, En {station.en:+.2f}.",
            )
            for place, station in enumerate(one.stations, start=1)
        ),
        title=f"Difference from the reference in {unit} at {one.at}; dashed: its U",
        across="",
        names=tuple(station.station for station in one.stations),
    )
