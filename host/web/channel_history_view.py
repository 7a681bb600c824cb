"""The ohms checks of a station over time: found on each range, its drift, and what stood behind it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo

from markupsafe import Markup

from calibration.drift import CertifiedValue
from host.certificates.printed import signed_text
from host.drift_words import CHECKS, DriftWords, drift_words, plain, signed
from host.equivalent_kelvin import k_per_ohm
from host.instrument_history import Track
from host.local_time import local_day, local_time
from host.pictures.history_chart import History, history_chart_svg
from host.procedures.ohms.channel_found import ChannelFound
from host.procedures.ohms.passed_ohms_checks import MadeCheck, channels_of, made_checks
from host.store import Store
from host.web.strips import on_this_page


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryRow:
    """One check in the table of a range.

    Attributes
    ----------
    run : int
    day : str
        In the shop.
    is_alone : bool
    error_ohm, expanded_u_ohm, error_k : str
        As found, in the middle of the range.
    """

    run: int
    day: str
    is_alone: bool
    error_ohm: str
    expanded_u_ohm: str
    error_k: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeHistory:
    """One range of one channel over time.

    Attributes
    ----------
    boxes : tuple of (words, runs)
        Each certificate of a decade box that stood behind checks, the newest first, and their runs.
    """

    title: str
    words: DriftWords | None
    in_kelvin: str
    chart: Markup
    rows: tuple[HistoryRow, ...]
    boxes: tuple[tuple[str, tuple[int, ...]], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FailedCheck:
    """A check that was begun and not passed."""

    run: int
    is_alone: bool
    day: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelHistory:
    """All that the page shows."""

    ranges: tuple[RangeHistory, ...]
    failed: tuple[FailedCheck, ...]


def channel_history(store: Store, station: str, *, zone: tzinfo | None) -> ChannelHistory:
    """History of a station's resistance channels."""
    oldest_first = list(made_checks(store, station))[::-1]
    found: dict[tuple[str, float], list[tuple[MadeCheck, ChannelFound]]] = {}
    for made in oldest_first:
        for channel in channels_of(store, made) if made.checked_utc_s is not None else ():
            found.setdefault((channel.insertion.value, channel.range_ohm), []).append((made, channel))
    return ChannelHistory(
        ranges=tuple(_range(pairs, store.now(), zone) for pairs in found.values()),
        failed=tuple(
            FailedCheck(run=made.run, is_alone=made.is_alone, day=local_time(made.touched_utc_s, zone))
            for made in reversed(oldest_first)
            if made.has_failed
        ),
    )


def _range(
    pairs: Sequence[tuple[MadeCheck, ChannelFound]], now_utc_s: float, zone: tzinfo | None
) -> RangeHistory:
    channel = pairs[-1][1]
    where = f"{channel.insertion.value} channel, {channel.range_ohm:g} Ω range"
    track = Track(
        where=where,
        quantity=f"error as found at {channel.range_ohm:g} Ω",
        unit="Ω",
        values=tuple(
            CertifiedValue(
                on=local_day(made.checked_utc_s or 0.0, zone),
                value=one.error_ohm,
                expanded_u=one.expanded_u_ohm,
                k=one.k,
            )
            for made, one in pairs
        ),
    )
    today = local_day(now_utc_s, zone)
    title = f"{where[0].upper()}{where[1:]}: {track.quantity}, {track.unit}"
    svg = history_chart_svg(
        History(title=title, unit=track.unit, values=track.values, drift=track.drift, today=today)
    )
    return RangeHistory(
        title=title,
        words=drift_words(track, today, of=CHECKS),
        in_kelvin=_in_kelvin(track, channel.range_ohm),
        chart=on_this_page(svg.encode("utf-8")),
        rows=tuple(_row(made, one, zone) for made, one in reversed(pairs)),
        boxes=_boxes(pairs),
    )


def _boxes(pairs: Sequence[tuple[MadeCheck, ChannelFound]]) -> tuple[tuple[str, tuple[int, ...]], ...]:
    behind: dict[str, list[int]] = {}
    for made, _ in reversed(pairs):
        box = made.decade_box
        words = f"{box['serial']}, certificate {box['certificate']}, {box['issuer']}"
        behind.setdefault(words, []).append(made.run)
    return tuple((words, tuple(runs)) for words, runs in behind.items())


def _in_kelvin(track: Track, range_ohm: float) -> str:
    """The drift as a coolant sender would show it; empty where there is none or the curve does not reach."""
    scale = k_per_ohm(range_ohm)
    if track.drift is None or scale is None:
        return ""
    u_k = track.drift.expanded_u_per_year * abs(scale)
    return f"{signed(track.drift.per_year * scale, u_k)} ± {plain(u_k)} K a year on a coolant sender."


def _row(made: MadeCheck, found: ChannelFound, zone: tzinfo | None) -> HistoryRow:
    scale = k_per_ohm(found.range_ohm)
    return HistoryRow(
        run=made.run,
        day=local_day(made.checked_utc_s or 0.0, zone).isoformat(),
        is_alone=made.is_alone,
        error_ohm=signed(found.error_ohm, found.expanded_u_ohm),
        expanded_u_ohm=plain(found.expanded_u_ohm),
        error_k="" if scale is None else signed_text(found.error_ohm * scale, 3).replace("-", "−"),
    )
