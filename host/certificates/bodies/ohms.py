"""Results in ohms: the resistance channel of a rig, a decade box, or a resistance meter."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Self

from calibration.conformity import DecisionRule, Verdict
from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.resistance.ohms_check import BoxReading, RangeCorrection
from calibration.resistance.three_tap import resistance_from_ratio_count
from calibration.uncertainty.budget import Budget, BudgetLine, combine
from calibration.uncertainty.line import normal, student
from host.certificates.bodies.stated_verdict import stated_verdict
from host.certificates.kind import Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class CertifiedOhms:
    """One resistance.

    Attributes
    ----------
    range_words : str
        Range of the channel, or decade of the box.
    setting_ohm : float
        Nominal value. [Ω]
    true_ohm : float
        By the reference. [Ω]
    found_ohm : float or None
        What the item said before it was corrected, where it is corrected. [Ω]
    shown_ohm : float
        What it says as left; of a box, its nominal value. [Ω]
    error_ohm, expanded_u_ohm, k : float
        Shown minus true, its expanded uncertainty and coverage factor. [Ω]
    budget : Budget
        Of the error, in Ω.
    limit_ohm : float or None
        [Ω]
    verdict : Verdict or None
    k_per_ohm : float or None
        What an ohm there means on a coolant sender, where that is said. [K/Ω]
    """

    range_words: str
    setting_ohm: float
    true_ohm: float
    found_ohm: float | None
    shown_ohm: float
    error_ohm: float
    expanded_u_ohm: float
    k: float
    budget: Budget
    limit_ohm: float | None = None
    verdict: Verdict | None = None
    k_per_ohm: float | None = None

    @classmethod
    def of(
        cls,
        *,
        range_words: str,
        setting_ohm: float,
        true_ohm: float,
        shown_ohm: float,
        lines: Sequence[BudgetLine],
        found_ohm: float | None = None,
        limit_ohm: float | None = None,
        rule: DecisionRule = DecisionRule.GUARDED,
        k_per_ohm: float | None = None,
    ) -> Self:
        """A resistance against its reference; ``lines`` are of the error, in Ω."""
        budget = combine(estimate=shown_ohm - true_ohm, unit="Ω", lines=lines)
        return cls(
            range_words=range_words,
            setting_ohm=setting_ohm,
            true_ohm=true_ohm,
            found_ohm=found_ohm,
            shown_ohm=shown_ohm,
            error_ohm=budget.estimate,
            expanded_u_ohm=budget.expanded_u,
            k=budget.k,
            budget=budget,
            limit_ohm=limit_ohm,
            k_per_ohm=k_per_ohm,
            verdict=stated_verdict(
                error=budget.estimate, expanded_u=budget.expanded_u, limit=limit_ohm, rule=rule
            ),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class OhmsBody:
    """A resistance channel, a decade box or a resistance meter at its settings.

    Attributes
    ----------
    kind : Kind
        ``OHMS_CHANNEL``, ``DECADE_BOX`` or ``RESISTANCE_METER``.
    correction_words : tuple[str, ...]
        What was corrected, range by range; empty where nothing was.
    points : tuple[CertifiedOhms, ...]
    """

    kind: Kind
    correction_words: tuple[str, ...]
    points: tuple[CertifiedOhms, ...]

    def __post_init__(self) -> None:
        """Refuse a kind that is not in ohms."""
        if self.kind not in (Kind.OHMS_CHANNEL, Kind.DECADE_BOX, Kind.RESISTANCE_METER):
            raise ValueError(f"{self.kind.value} is not certified in ohms.")


def channel_points(
    readings: Sequence[BoxReading],
    correction: RangeCorrection,
    box: DecadeBoxCertificate,
    *,
    range_words: str = "",
    limit_relative: float | None = None,
    rule: DecisionRule = DecisionRule.GUARDED,
    k_per_ohm_at: Callable[[float], float | None] = lambda resistance_ohm: None,
) -> tuple[CertifiedOhms, ...]:
    """Points of one range of a resistance channel, from its ohms check.

    Parameters
    ----------
    readings : sequence of BoxReading
        Those the correction was made from.
    correction : RangeCorrection
    box : DecadeBoxCertificate
        True values.
    range_words : str
        Name of the range; its reference resistor if left out.
    limit_relative : float, optional
        Largest permitted error as left, of the true value. [1]
    rule : DecisionRule
    k_per_ohm_at : callable
        What an ohm means in kelvin at a resistance, None where nothing is said. [K/Ω]
    """
    points = []
    for reading in readings:
        true_ohm = box.true_ohm(reading.setting_ohm)
        points.append(
            CertifiedOhms.of(
                range_words=range_words or f"{correction.reference_ohm:g} Ω range",
                setting_ohm=float(reading.setting_ohm),
                true_ohm=true_ohm,
                found_ohm=resistance_from_ratio_count(reading.count, correction.reference_ohm),
                shown_ohm=correction.corrected_ohm(reading.count),
                lines=(
                    normal(
                        "decade box, with the value", true_ohm, "Ω", true_ohm * box.relative_standard_u(), 1.0
                    ),
                    normal("decade box, residual", 0.0, "Ω", box.fixed_standard_u_ohm(), 1.0),
                    student(
                        "correction and local nonlinearity",
                        0.0,
                        "Ω",
                        correction.standard_u_ohm(reading.count),
                        1.0,
                        float(correction.degrees_of_freedom),
                    ),
                ),
                limit_ohm=None if limit_relative is None else limit_relative * true_ohm,
                rule=rule,
                k_per_ohm=k_per_ohm_at(true_ohm),
            )
        )
    return tuple(points)
