"""What the certificates of one instrument say of the same quantity, one after the other."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from calibration.drift import CertifiedValue, Drift, drift_of
from calibration.thermistor.steinhart_hart import SteinhartHart
from host.procedures.bench_setup import probe_of
from host.store.instrument_kind import InstrumentKind
from host.store.instrument_standing import InstrumentStanding
from host.store.register_entry import Instrument

#: Temperatures at which a probe is followed, where its certificates cover them. [°C]
PROBE_TEMPERATURES_C = (25.0, 60.0, 90.0)
# Certified corrections of a display are compared where they were taken within this of each other. [K]
_SAME_POINT_K = 3.0
#: The same of a meter, of its reading. [1]
_SAME_SHARE = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """One quantity over the certificates since the last adjustment.

    Attributes
    ----------
    where : str
        At which temperature or resistance.
    quantity : str
        What it is, in words.
    unit : str
    values : tuple[CertifiedValue, ...]
        The oldest first.
    """

    where: str
    quantity: str
    unit: str
    values: tuple[CertifiedValue, ...]

    @property
    def drift(self) -> Drift | None:
        """Drift, None where one day shows none."""
        return drift_of(self.values) if len({value.on for value in self.values}) > 1 else None


def tracks_of(standing: InstrumentStanding) -> tuple[Track, ...]:
    """Quantities that the certificates of an instrument have in common."""
    kept = _since_adjustment(standing.certificates)
    since = tuple(one for one in kept if standing.withdrawal_of(one) is None)
    if not since:
        return ()
    if standing.kind is InstrumentKind.PROBE:
        return _probe_tracks(since)
    if standing.kind is InstrumentKind.DECADE_BOX:
        return _box_tracks(since)
    if standing.kind is InstrumentKind.ARTEFACT:
        return _artefact_tracks(since)
    if standing.kind is InstrumentKind.METER:
        return _meter_tracks(since)
    return _thermometer_tracks(since)


def adjusted_with(standing: InstrumentStanding) -> Instrument | None:
    """Certificate with which the history begins anew, None where it never did."""
    return next((one for one in standing.certificates if one.content.get("adjusted", False)), None)


def _since_adjustment(newest_first: Sequence[Instrument]) -> tuple[Instrument, ...]:
    """Certificates since the last adjustment, the oldest first."""
    kept: list[Instrument] = []
    for one in newest_first:
        kept.insert(0, one)
        if one.content.get("adjusted", False):
            break
    return tuple(kept)


def _probe_tracks(certificates: Sequence[Instrument]) -> tuple[Track, ...]:
    """How far each certificate's probe is from the first one's, at temperatures that all of them cover."""
    probes = [(one, probe_of(one.content)) for one in certificates]
    first = probes[0][1].curve
    covered = [t for t in PROBE_TEMPERATURES_C if all(probe.covers(t) for _, probe in probes)]
    if not covered:
        low_c = max(probe.valid_from_c for _, probe in probes)
        high_c = min(probe.valid_to_c for _, probe in probes)
        covered = [(low_c + high_c) / 2.0] if low_c <= high_c else []
    return tuple(
        Track(
            where=f"at {t:g} °C",
            quantity="what the probe would show too much with the coefficients of its first certificate",
            unit="K",
            values=tuple(
                CertifiedValue(
                    on=one.issued,
                    value=_shown_with(first, probe.curve, t) - t,
                    expanded_u=probe.expanded_u_k,
                    k=probe.k,
                )
                for one, probe in probes
            ),
        )
        for t in covered
    )


def _shown_with(first: SteinhartHart, later: SteinhartHart, temperature_c: float) -> float:
    return first.temperature_c(later.resistance_ohm(temperature_c))


def _box_tracks(certificates: Sequence[Instrument]) -> tuple[Track, ...]:
    """How far the first step of each decade is from its nominal value."""
    steps = [{float(step["nominal_ohm"]): step for step in one.content["step"]} for one in certificates]
    shared = sorted(set.intersection(*(set(table) for table in steps)))
    firsts = [ohm for ohm in shared if f"{ohm:g}".rstrip("0") == "1"] or shared[:4]
    return tuple(
        Track(
            where=f"step of {ohm:g} Ω",
            quantity="certified value minus nominal value",
            unit="Ω",
            values=tuple(
                CertifiedValue(
                    on=one.issued,
                    value=float(table[ohm]["certified_ohm"]) - ohm,
                    expanded_u=_box_expanded_u_ohm(one.content, table[ohm]),
                    k=float(one.content["k"]),
                )
                for one, table in zip(certificates, steps, strict=True)
            ),
        )
        for ohm in firsts
    )


def _box_expanded_u_ohm(content: Mapping[str, Any], step: Mapping[str, Any]) -> float:
    """Both parts of a box's uncertainty, added as they are printed: 0.01 % + 0.03 Ω."""
    stated = {**content, **step}
    relative = float(stated.get("expanded_u_relative", 0.0))
    return relative * float(step["certified_ohm"]) + float(stated.get("expanded_u_ohm", 0.0))


def _artefact_tracks(certificates: Sequence[Instrument]) -> tuple[Track, ...]:
    """A resistor against its first certificate; a sender's error at the temperatures of its newest one."""
    newest = certificates[-1].content
    if "resistance_ohm" in newest:
        alike = [one for one in certificates if "resistance_ohm" in one.content]
        first_ohm = float(alike[0].content["resistance_ohm"])
        values = tuple(
            CertifiedValue(
                on=one.issued,
                value=float(one.content["resistance_ohm"]) - first_ohm,
                expanded_u=float(one.content["expanded_u_ohm"]),
                k=float(one.content["k"]),
            )
            for one in alike
        )
        return (Track(where=f"{first_ohm:g} Ω", quantity="change since the first", unit="Ω", values=values),)
    alike = [one for one in certificates if one.content.get("curve") == newest["curve"]]
    return tuple(_artefact_track(alike, float(row["temperature_c"])) for row in newest["point"])


def _artefact_track(certificates: Sequence[Instrument], at_c: float) -> Track:
    return Track(
        where=f"at {at_c:g} °C",
        quantity="certified error",
        unit="K",
        values=_values_near(
            certificates, "temperature_c", at_c, _SAME_POINT_K, value="error_k", expanded_u="expanded_u_k"
        ),
    )


def _meter_tracks(certificates: Sequence[Instrument]) -> tuple[Track, ...]:
    """Corrections at the points of the newest certificate that others have within a twentieth."""
    return tuple(_meter_track(certificates, row) for row in certificates[-1].content["point"])


def _meter_track(certificates: Sequence[Instrument], newest: Mapping[str, Any]) -> Track:
    shown_ohm = float(newest["shown_ohm"])
    within_ohm = _SAME_SHARE * shown_ohm
    return Track(
        where=f"at {shown_ohm:g} Ω shown",
        quantity="certified correction",
        unit="Ω",
        values=_values_near(
            certificates,
            "shown_ohm",
            shown_ohm,
            within_ohm,
            value="correction_ohm",
            expanded_u="expanded_u_ohm",
        ),
    )


def _thermometer_tracks(certificates: Sequence[Instrument]) -> tuple[Track, ...]:
    """Corrections at the points of the newest certificate that the others have near."""
    certified = [one for one in certificates if one.content.get("point")]
    if not certified:
        return ()
    return tuple(_thermometer_track(certified, row) for row in certified[-1].content["point"])


def _thermometer_track(certificates: Sequence[Instrument], newest: Mapping[str, Any]) -> Track:
    shown_c = float(newest["shown_c"])
    return Track(
        where=f"at {shown_c:g} °C shown",
        quantity="certified correction",
        unit="K",
        values=_values_near(
            certificates, "shown_c", shown_c, _SAME_POINT_K, value="correction_k", expanded_u="expanded_u_k"
        ),
    )


def _values_near(
    certificates: Sequence[Instrument], place: str, at: float, within: float, *, value: str, expanded_u: str
) -> tuple[CertifiedValue, ...]:
    """Value of each certificate at its point next to a place, where it has one within a distance."""
    near = [
        (one, min(one.content["point"], key=lambda row: abs(float(row[place]) - at))) for one in certificates
    ]
    return tuple(
        CertifiedValue(
            on=one.issued,
            value=float(row[value]),
            expanded_u=float(row[expanded_u]),
            k=float(one.content["k"]),
        )
        for one, row in near
        if abs(float(row[place]) - at) <= within
    )
