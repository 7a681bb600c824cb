"""Results of a round: one artefact measured at every station."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, Self

from calibration.station_round import (
    Agreement,
    ComparedStation,
    ComparedStations,
    StatedValue,
    compare_stations,
)
from host.certificates.kind import Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class StationResult:
    """What one station made of the artefact.

    Attributes
    ----------
    station : str
    value, expanded_u : float
        [unit of the comparison]
    k : float
        Coverage factor of that U.
    assigned, assigned_expanded_u : float or None
        What it is held against: the reference, or robust mean or median of the other stations. [unit]
    difference, difference_expanded_u : float or None
        Value minus that, and both uncertainties together. [unit of a difference]
    en : float or None
        Difference over its expanded uncertainty. [1]
    agreement : Agreement or None
        Up to ±1 it agrees; None where there is nothing to agree with, or that would say nothing.
    """

    station: str
    value: float
    expanded_u: float
    k: float
    assigned: float | None
    assigned_expanded_u: float | None
    difference: float | None
    difference_expanded_u: float | None
    en: float | None
    agreement: Agreement | None

    @classmethod
    def of(cls, compared: ComparedStation) -> Self:
        """A compared station as it is certified."""
        assigned = compared.assigned
        return cls(
            station=compared.name,
            value=compared.stated.value,
            expanded_u=compared.stated.expanded_u,
            k=compared.stated.k,
            assigned=None if assigned is None else assigned.value,
            assigned_expanded_u=None if assigned is None else assigned.expanded_u,
            difference=compared.difference,
            difference_expanded_u=compared.difference_expanded_u,
            en=compared.en,
            agreement=compared.agreement,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundComparison:
    """All stations at one value of the artefact.

    Attributes
    ----------
    at : str
        Where: "60 °C", "1000 Ω".
    quantity, unit : str
        What was compared: "indicated temperature" in "°C", "error" in "K", "resistance" in "Ω".
    reference, reference_expanded_u, reference_k : float or None
        What the stations are held against, independent of each; None where there is none. [unit]
    reference_words : str
        Where that comes from.
    stations : tuple[StationResult, ...]
    robust_mean, robust_standard_u, robust_spread : float or None
        Mean by Algorithm A, its standard uncertainty, and spread; None where they cannot be had. [unit]
    why_no_robust, why_no_en : str
        Why there is no robust mean, or no En number; empty where there is one.
    """

    at: str
    quantity: str
    unit: str
    reference: float | None
    reference_expanded_u: float | None
    reference_k: float | None
    reference_words: str
    stations: tuple[StationResult, ...]
    robust_mean: float | None = None
    robust_standard_u: float | None = None
    robust_spread: float | None = None
    why_no_robust: str = ""
    why_no_en: str = ""

    @classmethod
    def of(
        cls,
        results: Mapping[str, StatedValue],
        *,
        at: str,
        quantity: str,
        unit: str,
        reference: StatedValue | None,
        reference_words: str,
    ) -> Self:
        """Stations by name, held against the reference, or against each other where there is none.

        Raises
        ------
        ComparisonError
            If there is no result.
        """
        compared: ComparedStations = compare_stations(results, reference=reference)
        robust = compared.robust
        return cls(
            at=at,
            quantity=quantity,
            unit=unit,
            reference=None if reference is None else reference.value,
            reference_expanded_u=None if reference is None else reference.expanded_u,
            reference_k=None if reference is None else reference.k,
            reference_words=reference_words,
            stations=tuple(StationResult.of(one) for one in compared.stations),
            robust_mean=None if robust is None else robust.mean,
            robust_standard_u=None if robust is None else robust.standard_u,
            robust_spread=None if robust is None else robust.spread,
            why_no_robust=compared.why_no_robust,
            why_no_en=compared.why_no_en,
        )

    @property
    def difference_unit(self) -> str:
        """Unit of a difference: kelvin where temperatures are compared."""
        return "K" if self.unit == "°C" else self.unit

    @property
    def off(self) -> tuple[StationResult, ...]:
        """Stations that do not agree."""
        return tuple(one for one in self.stations if one.agreement is Agreement.DOES_NOT_AGREE)

    @property
    def not_told(self) -> tuple[StationResult, ...]:
        """Stations of which neither can be said, as the others lie too far apart."""
        return tuple(one for one in self.stations if one.agreement is None)


@dataclass(frozen=True, slots=True, kw_only=True)
class StationRoundBody:
    """One artefact at every station.

    Attributes
    ----------
    artefact : str
        What went round, and how it was kept.
    points : tuple[RoundComparison, ...]
    next_action : str
        What to do about it.
    """

    kind: ClassVar[Kind] = Kind.STATION_ROUND

    artefact: str
    points: tuple[RoundComparison, ...]
    next_action: str = ""
