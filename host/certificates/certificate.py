"""The certificate as a value, before any rendering of it."""

from dataclasses import dataclass
from typing import Self

from calibration.conformity import DecisionRule, Verdict
from calibration.sender_point import SenderPoint
from calibration.uncertainty.budget import Budget
from host.certificates.as_found import AsFound


@dataclass(frozen=True, slots=True, kw_only=True)
class Witness:
    """One bar of an agreement strip: who says which temperature, and how surely.

    Attributes
    ----------
    name : str
        As printed: "contact probe", "1-wire witness", "infrared", "sender shows".
    temperature_c : float
        What it says. [°C]
    expanded_u_k : float
        Expanded uncertainty of that. [K]
    """

    name: str
    temperature_c: float
    expanded_u_k: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CertifiedPoint:
    """One temperature of a sender check.

    Attributes
    ----------
    temperature_c : float
        True temperature of the bath at the sender. [°C]
    resistance_ohm, u_resistance_ohm : float
        Zero-power resistance and its standard uncertainty. [Ω]
    indicated_c : float
        What a computer holding the reference curve would show. [°C]
    error_k, expanded_u_k, k, limit_k : float
        Indicated minus true, its expanded uncertainty, coverage factor and limit. [K]
    verdict : Verdict
    budget : Budget
        Of the error, in K.
    witnesses : tuple[Witness, ...]
        Strip of this temperature, the reference first, the sender's indicated temperature last.
    limits_k : tuple[float, float] or None
        Lowest and highest permitted error where both sides are known; ``limit_k`` is then the
        magnitude of the one on the side of the error. [K]
    """

    temperature_c: float
    resistance_ohm: float
    u_resistance_ohm: float
    indicated_c: float
    error_k: float
    expanded_u_k: float
    k: float
    limit_k: float
    verdict: Verdict
    budget: Budget
    witnesses: tuple[Witness, ...]
    limits_k: tuple[float, float] | None = None

    @classmethod
    def of(cls, point: SenderPoint, witnesses: tuple[Witness, ...]) -> Self:
        """A judged point with its strip."""
        return cls(
            temperature_c=point.temperature_c,
            resistance_ohm=point.resistance_ohm,
            u_resistance_ohm=point.u_resistance_ohm,
            indicated_c=point.indicated_c,
            error_k=point.error_k,
            expanded_u_k=point.expanded_u_k,
            k=point.k,
            limit_k=point.limit_k,
            verdict=point.verdict,
            budget=point.budget,
            witnesses=witnesses,
            limits_k=point.limits_k,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentUsed:
    """One instrument behind the result, as the register had it that day."""

    role: str
    serial: str
    certificate: str
    expanded_u: str
    due: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """Everything a sender's certificate says; every rendering is made from this alone.

    Attributes
    ----------
    number : str
        Unique identification, on every page.
    issued : str
        Date of issue, ISO 8601.
    measured : str
        Date or span the readings were taken, ISO 8601; words where unknown.
    shop : str
    shop_address : str
    item : str
        Name and identity of the sender.
    customer : str
    verdict : Verdict
    sentence : str
        The result in one sentence that a customer understands.
    rule : DecisionRule
    rule_words : str
        The decision rule in words, with its source.
    method : str
        Method and its version.
    curve, curve_source, curve_tolerance : str
        Reference curve, where it was published, and its tolerance as printed.
    points : tuple[CertifiedPoint, ...]
    coefficients : tuple[tuple[str, float, float | None], ...]
        Name, value and standard uncertainty of the fitted curve. [natural log of ohms]
    fit_words : str
        Which model was fitted and how well.
    instruments : tuple[InstrumentUsed, ...]
    conditions : tuple[tuple[str, str], ...]
        Name and words: room, immersion, stirring …
    remarks : tuple[str, ...]
        Assumptions, deviations and what the result does not cover.
    citations : tuple[str, ...]
        Readings behind the result: station, boot, from, to; or the file.
    simulated : bool
        True where no real sender was measured: said on every page and in the data.
    software : tuple[tuple[str, str], ...]
        Package and version.
    place : str
        Where the work was done, if elsewhere than at the shop.
    received : str
        Date the item came in, ISO 8601, where it matters.
    item_condition : str
        How the item looked and whether this is as found or as left.
    authorised_by : str
        Who answers for the certificate; empty leaves a line to sign on.
    opinions : tuple[str, ...]
        Why it may be so and what to try: opinion, not measurement.
    as_found : AsFound or None
        The first check, where this is the second one of the same sender, as left.
    """

    number: str
    issued: str
    measured: str
    shop: str
    shop_address: str
    item: str
    customer: str
    verdict: Verdict
    sentence: str
    rule: DecisionRule
    rule_words: str
    method: str
    curve: str
    curve_source: str
    curve_tolerance: str
    points: tuple[CertifiedPoint, ...]
    coefficients: tuple[tuple[str, float, float | None], ...]
    fit_words: str
    instruments: tuple[InstrumentUsed, ...]
    conditions: tuple[tuple[str, str], ...]
    remarks: tuple[str, ...]
    citations: tuple[str, ...]
    simulated: bool
    software: tuple[tuple[str, str], ...]
    place: str = ""
    received: str = ""
    item_condition: str = ""
    authorised_by: str = ""
    opinions: tuple[str, ...] = ()
    as_found: AsFound | None = None
