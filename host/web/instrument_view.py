"""One instrument as its page shows it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from markupsafe import Markup

from host.drift_words import DriftWords, drift_words, plain, signed
from host.instrument_history import Track, adjusted_with, tracks_of
from host.instrument_use import Use, uses_of
from host.pictures.history_chart import History, history_chart_svg
from host.recalibration import due_date
from host.store import Store
from host.store.certificate_standing import Standing, State
from host.store.instrument_kind import InstrumentKind
from host.store.instrument_standing import InstrumentStanding
from host.store.register_entry import Instrument
from host.web.register_list import InstrumentRow, instrument_row
from host.web.scale import Scale, in_scale
from host.web.strips import on_this_page

_LABELS = {
    "model": "model",
    "a": "a",
    "b": "b",
    "c": "c",
    "expanded_u_k": "U, K",
    "expanded_u_relative": "U, part of the value",
    "expanded_u_ohm": "U, fixed part, Ω",
    "k": "k",
    "residual_ohm": "at zero, Ω",
    "resistance_ohm": "resistance, Ω",
    "curve": "curve",
    "resolution_k": "last digit, K",
    "accuracy_k": "maker's accuracy, ± K",
    "accuracy_percent": "maker's accuracy, ± %",
    "emissivity": "emissivity",
    "certified_emissivity": "certified at a setting of",
    "distance_to_spot": "distance to spot, : 1",
    "smallest_spot_mm": "smallest spot, mm",
    "band_from_um": "band from, µm",
    "band_to_um": "band to, µm",
}
_COLUMNS = {
    "nominal_ohm": "nominal Ω",
    "certified_ohm": "certified Ω",
    "temperature_c": "°C",
    "resistance_ohm": "Ω",
    "shown_c": "showed °C",
    "shown_ohm": "showed Ω",
    "correction_ohm": "correction Ω",
    "correction_k": "correction K",
    "error_k": "error K",
    "expanded_u_ohm": "U Ω",
    "expanded_u_relative": "U, part of it",
    "expanded_u_k": "U K",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class CertificateView:
    """One certificate of the instrument.

    Attributes
    ----------
    entry : Instrument
    due : date or None
    validity : str
    facts : tuple of (name, value)
    columns : tuple[str, ...]
    rows : tuple[tuple[str, ...], ...]
    is_in_force : bool
        Whether results rest on it today.
    lost : Standing or None
        How it stands where this desk issued it and it no longer holds.
    """

    entry: Instrument
    due: date | None
    validity: str
    facts: tuple[tuple[str, str], ...]
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    is_in_force: bool
    lost: Standing | None

    @property
    def is_withdrawn(self) -> bool:
        """Whether nothing may rest on it any more."""
        return self.lost is not None and self.lost.state is State.WITHDRAWN


@dataclass(frozen=True, slots=True, kw_only=True)
class TrackView:
    """One quantity over its certificates: chart, the same in numbers, and what it means."""

    track: Track
    where: str
    chart: Markup
    rows: tuple[tuple[str, str, str], ...]
    words: DriftWords | None


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentView:
    """All that the page shows."""

    row: InstrumentRow
    certificates: tuple[CertificateView, ...]
    tracks: tuple[TrackView, ...]
    adjusted_with: Instrument | None
    uses: tuple[Use, ...]

    @property
    def standing(self) -> InstrumentStanding:
        """The instrument."""
        return self.row.standing


def instrument_view(
    standing: InstrumentStanding,
    store: Store,
    *,
    today: date,
    months_by_kind: Mapping[str, int],
    scale: Scale,
) -> InstrumentView:
    """Page of an instrument."""
    return InstrumentView(
        row=instrument_row(standing, store.register.standings(), today=today, months_by_kind=months_by_kind),
        certificates=tuple(_certificate(one, standing, months_by_kind) for one in standing.certificates),
        tracks=tuple(_track(track, today, scale) for track in tracks_of(standing) if track.values),
        adjusted_with=adjusted_with(standing),
        uses=uses_of(standing, store),
    )


def _certificate(
    entry: Instrument, standing: InstrumentStanding, months_by_kind: Mapping[str, int]
) -> CertificateView:
    content = entry.content
    table: Sequence[Mapping[str, Any]] = content.get("step") or content.get("point") or ()
    columns = tuple(name for name in _COLUMNS if any(name in row for row in table))
    return CertificateView(
        entry=entry,
        due=due_date(entry, months_by_kind),
        validity=_validity(entry),
        facts=tuple((label, _plain(content[name])) for name, label in _LABELS.items() if name in content),
        columns=tuple(_COLUMNS[name] for name in columns),
        rows=tuple(tuple(_plain(row[name]) if name in row else "" for name in columns) for row in table),
        is_in_force=entry is standing.in_force and standing.withdrawal_of(entry) is None,
        lost=standing.lost.get(entry.number),
    )


def _validity(entry: Instrument) -> str:
    content = entry.content
    if entry.kind == InstrumentKind.PROBE:
        return (
            f"{content['valid_from_c']:g} to {content['valid_to_c']:g} °C, "
            f"U = {content['expanded_u_k']:g} K (k = {content['k']:g})"
        )
    if entry.kind == InstrumentKind.DECADE_BOX:
        ohms = [float(step["nominal_ohm"]) for step in content["step"]]
        return f"steps of {min(ohms):g} to {max(ohms):g} Ω (k = {content['k']:g})"
    points = content.get("point")
    if entry.kind == InstrumentKind.ARTEFACT and not points:
        return f"{content['resistance_ohm']:g} Ω, U = {content['expanded_u_ohm']:g} Ω (k = {content['k']:g})"
    if entry.kind == InstrumentKind.ARTEFACT:
        at = ", ".join(f"{row['temperature_c']:g}" for row in points or ())
        return f"error at {at} °C by {content['curve']} (k = {content['k']:g})"
    if entry.kind == InstrumentKind.METER:
        return f"{points[0]['shown_ohm']:g} to {points[-1]['shown_ohm']:g} Ω (k = {content['k']:g})"
    if points:
        return f"{points[0]['shown_c']:g} to {points[-1]['shown_c']:g} °C (k = {content['k']:g})"
    percent = f" or ±{content['accuracy_percent']:g} %" if content.get("accuracy_percent") else ""
    return f"maker's accuracy ±{content['accuracy_k']:g} K{percent}, not calibrated"


def _track(track: Track, today: date, scale: Scale) -> TrackView:
    where = in_scale(track.where, scale)
    title = f"{track.quantity.capitalize()}, {track.unit}, {where}"
    svg = history_chart_svg(
        History(
            title=f"{where}, {track.unit}",
            unit=track.unit,
            values=track.values,
            drift=track.drift,
            today=today,
        )
    )
    return TrackView(
        track=track,
        where=title,
        chart=on_this_page(svg.encode("utf-8")),
        rows=tuple(
            (value.on.isoformat(), signed(value.value, value.expanded_u), plain(value.expanded_u))
            for value in track.values
        ),
        words=drift_words(track, today),
    )


def _plain(value: object) -> str:
    return f"{value:.10g}" if isinstance(value, int | float) and not isinstance(value, bool) else str(value)
