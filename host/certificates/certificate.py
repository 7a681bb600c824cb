"""The certificate as a value, before any rendering of it."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol, Self

from calibration.conformity import DecisionRule, Verdict
from calibration.sender_point import SenderPoint
from calibration.uncertainty.budget import Budget
from host.certificates.as_found import AsFound
from host.certificates.kind import Kind


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
class Coefficient:
    """One coefficient of a curve, with its standard uncertainty where that is known."""

    name: str
    value: float
    standard_u: float | None


class Body(Protocol):
    """Results of one kind; each kind has a class of its own in `host.certificates.bodies`."""

    @property
    def kind(self) -> Kind:
        """What it is about."""
        ...

    @property
    def verdict_word(self) -> str:
        """Verdict as a word of the data; ``not_stated`` where nothing is held against a limit."""
        return "not_stated" if self.verdict is None else self.verdict.value

    @property
    def points(self) -> Sequence[Any]:
        """Its results, one or more, in the order they are printed."""
        ...


#: Names of the two texts of an entry, in data.
_NAMED_WORDS = {"each": ("name", "words")}
_NAMED_VERSION = {"each": ("name", "version")}


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """Everything a certificate says; every rendering is made from this alone.

    The head is the same for all kinds; the results are in ``body``.

    Attributes
    ----------
    number : str
        Unique identification, on every page.
    issued : str
        Date of issue, ISO 8601.
    measured : str
        Date or span the readings were taken, ISO 8601; words where unknown.
    shop, shop_address : str
    item : str
        Name and identity of what was measured.
    customer, customer_contact : str
    sentence : str
        The result in one sentence that a customer understands.
    method : str
        Method and its version.
    body : Body
        Results, and what belongs to this kind alone.
    simulated : bool
        True where what it says rests on a simulated bench: said on every page and in the data.
    verdict : Verdict or None
        None where nothing is stated against a limit.
    rule : DecisionRule or None
    rule_words : str
        The decision rule in words, with its source.
    instruments : tuple[InstrumentUsed, ...]
    conditions : tuple[tuple[str, str], ...]
        Name and words: room, immersion, stirring …
    remarks : tuple[str, ...]
        Assumptions and deviations from the method.
    not_done : tuple[str, ...]
        What the method has and was left out, and what the result does not cover.
    external : tuple[str, ...]
        Results that somebody else supplied, and who.
    citations : tuple[str, ...]
        Readings behind the result: station, boot, from, to; or the file.
    software : tuple[tuple[str, str], ...]
        Package and version.
    place : str
        Where the work was done, if elsewhere than at the shop.
    received : str
        Date the item came in, ISO 8601, where it matters.
    item_condition : str
        How the item looked and whether this is as found or as left.
    operator : str
        Who measured.
    authorised_by, authorised : str
        Who answers for the certificate and since when; empty leaves a line to sign on.
    draft : bool
        True where nobody has authorised it: said on every page, and no evidence of anything.
    opinions : tuple[str, ...]
        Why it may be so and what to try: opinion, not measurement.
    as_found : AsFound or None
        The first check, where this is the second one of the same item, as left.
    next_due : str
        Date of the next calibration, only where it was agreed with the customer.
    supersedes, change : str
        Number of the certificate that this one takes the place of, and what is changed in it.
    previous_number, previous_head : str
        The certificate issued before this one, and the head of the chain after it.
    logo : bytes
        The shop's picture, PNG or JPEG; empty for none.
    """

    number: str
    issued: str
    measured: str
    shop: str
    shop_address: str
    item: str
    customer: str
    sentence: str
    method: str
    body: Body
    simulated: bool
    verdict: Verdict | None = None
    rule: DecisionRule | None = None
    rule_words: str = ""
    instruments: tuple[InstrumentUsed, ...] = ()
    conditions: tuple[tuple[str, str], ...] = field(default=(), metadata=_NAMED_WORDS)
    remarks: tuple[str, ...] = ()
    not_done: tuple[str, ...] = ()
    external: tuple[str, ...] = ()
    citations: tuple[str, ...] = ()
    software: tuple[tuple[str, str], ...] = field(default=(), metadata=_NAMED_VERSION)
    customer_contact: str = ""
    place: str = ""
    received: str = ""
    item_condition: str = ""
    operator: str = ""
    authorised_by: str = ""
    authorised: str = ""
    draft: bool = False
    opinions: tuple[str, ...] = ()
    as_found: AsFound | None = None
    next_due: str = ""
    supersedes: str = ""
    change: str = ""
    previous_number: str = ""
    previous_head: str = ""
    logo: bytes = b""

    @property
    def kind(self) -> Kind:
        """What it is about."""
        return self.body.kind

    @property
    def verdict_word(self) -> str:
        """Verdict as a word of the data; ``not_stated`` where nothing is held against a limit."""
        return "not_stated" if self.verdict is None else self.verdict.value

    @property
    def points(self) -> Sequence[Any]:
        """Its results, in the order they are printed."""
        return self.body.points
