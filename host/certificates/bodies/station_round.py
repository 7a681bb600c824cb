"""Results of a round: one artefact measured at every station."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, Self

from calibration.comparison import RobustMean, en_number
from calibration.conformity import Verdict
from host.certificates.kind import Kind

#: Coverage factor of the expanded uncertainties of a round.
K_OF_A_ROUND = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StationResult:
    """What one station made of the artefact.

    Attributes
    ----------
    station : str
    value, expanded_u : float
        [unit of the comparison]
    en : float
        Difference from the reference over both expanded uncertainties. [1]
    verdict : Verdict
        In tolerance up to ±1 (satisfactory), else out.
    """

    station: str
    value: float
    expanded_u: float
    en: float
    verdict: Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundComparison:
    """All stations at one value of the artefact.

    Attributes
    ----------
    at : str
        Where: "60 °C", "1000 Ω".
    quantity, unit : str
        What was compared: "temperature" in "°C", "error" in "K", "resistance" in "Ω".
    reference, reference_expanded_u : float
        What the stations are held against, independent of each. [unit]
    reference_words : str
        Where that comes from.
    stations : tuple[StationResult, ...]
    robust_mean, robust_expanded_u, robust_spread : float or None
        Mean by Algorithm A, its expanded uncertainty, and spread; None with under three stations. [unit]
    """

    at: str
    quantity: str
    unit: str
    reference: float
    reference_expanded_u: float
    reference_words: str
    stations: tuple[StationResult, ...]
    robust_mean: float | None = None
    robust_expanded_u: float | None = None
    robust_spread: float | None = None

    @classmethod
    def of(
        cls,
        results: Mapping[str, tuple[float, float]],
        *,
        at: str,
        quantity: str,
        unit: str,
        reference: float,
        reference_expanded_u: float,
        reference_words: str,
        robust: RobustMean | None = None,
    ) -> Self:
        """Stations by name, each a value and its expanded uncertainty (k = 2), against a reference."""
        stations = []
        for station, (value, expanded_u) in results.items():
            en = en_number(
                value=value,
                expanded_u=expanded_u,
                reference=reference,
                reference_expanded_u=reference_expanded_u,
            )
            stations.append(
                StationResult(
                    station=station,
                    value=value,
                    expanded_u=expanded_u,
                    en=en,
                    verdict=Verdict.IN_TOLERANCE if abs(en) <= 1.0 else Verdict.OUT_OF_TOLERANCE,
                )
            )
        return cls(
            at=at,
            quantity=quantity,
            unit=unit,
            reference=reference,
            reference_expanded_u=reference_expanded_u,
            reference_words=reference_words,
            stations=tuple(stations),
            robust_mean=None if robust is None else robust.mean,
            robust_expanded_u=None if robust is None else K_OF_A_ROUND * robust.standard_u,
            robust_spread=None if robust is None else robust.spread,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class StationRoundBody:
    """One artefact at every station.

    Attributes
    ----------
    artefact : str
        What went round, and how it was kept.
    points : tuple[RoundComparison, ...]
    """

    kind: ClassVar[Kind] = Kind.STATION_ROUND

    artefact: str
    points: tuple[RoundComparison, ...]
