"""Results of a check of the reference probe: ice point, boiling water, or beside another probe."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar, Self

from calibration.conformity import DecisionRule, Verdict
from calibration.reference_probe import ReferenceProbe
from calibration.uncertainty.budget import Budget, BudgetLine, combine
from host.certificates.bodies.stated_verdict import stated_verdict
from host.certificates.certificate import Coefficient, Witness
from host.certificates.kind import Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class CertifiedProbePoint:
    """One temperature of a probe check.

    Attributes
    ----------
    where : str
        "ice point", "boiling water", "beside the travelling probe".
    reference_c : float
        True temperature there. [°C]
    resistance_ohm, u_resistance_ohm : float
        Of the probe, and its standard uncertainty. [Ω]
    shown_c : float
        What the coefficients below make of it. [°C]
    error_k, expanded_u_k, k : float
        Shown minus true, its expanded uncertainty and coverage factor. [K]
    budget : Budget
        Of the error, in K.
    limit_k : float or None
        [K]
    verdict : Verdict or None
    witnesses : tuple[Witness, ...]
    """

    where: str
    reference_c: float
    resistance_ohm: float
    u_resistance_ohm: float
    shown_c: float
    error_k: float
    expanded_u_k: float
    k: float
    budget: Budget
    limit_k: float | None = None
    verdict: Verdict | None = None
    witnesses: tuple[Witness, ...] = ()

    @classmethod
    def of(
        cls,
        probe: ReferenceProbe,
        *,
        where: str,
        reference_c: float,
        resistance_ohm: float,
        u_resistance_ohm: float,
        lines: Sequence[BudgetLine],
        limit_k: float | None = None,
        rule: DecisionRule = DecisionRule.GUARDED,
        witnesses: tuple[Witness, ...] = (),
    ) -> Self:
        """A probe at a known temperature.

        Parameters
        ----------
        probe : ReferenceProbe
            By whose coefficients it is judged.
        lines : sequence of BudgetLine
            Of the error, in K: the reference's, the channel's, repeatability …
        """
        shown_c = probe.temperature_c(resistance_ohm)
        budget = combine(estimate=shown_c - reference_c, unit="K", lines=lines)
        return cls(
            where=where,
            reference_c=reference_c,
            resistance_ohm=resistance_ohm,
            u_resistance_ohm=u_resistance_ohm,
            shown_c=shown_c,
            error_k=budget.estimate,
            expanded_u_k=budget.expanded_u,
            k=budget.k,
            budget=budget,
            limit_k=limit_k,
            verdict=stated_verdict(
                error=budget.estimate, expanded_u=budget.expanded_u, limit=limit_k, rule=rule
            ),
            witnesses=witnesses,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferenceProbeBody:
    """How a reference probe stands to its coefficients.

    Attributes
    ----------
    coefficients : tuple[Coefficient, ...]
        By which it was judged. [natural log of ohms]
    coefficients_source : str
        Certificate they come from, and its range.
    points : tuple[CertifiedProbePoint, ...]
    """

    kind: ClassVar[Kind] = Kind.REFERENCE_PROBE

    coefficients: tuple[Coefficient, ...]
    coefficients_source: str
    points: tuple[CertifiedProbePoint, ...]
