"""Results of an infrared check: a handheld thermometer, or the sensor of a rig."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

from calibration.conformity import DecisionRule, Verdict
from calibration.infrared.infrared_point import InfraredPoint
from calibration.uncertainty.budget import Budget
from host.certificates.bodies.stated_verdict import stated_verdict
from host.certificates.certificate import Witness
from host.certificates.kind import Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class CertifiedShots:
    """One set point of an infrared check.

    Attributes
    ----------
    face_c : float
        True temperature of the target's face. [°C]
    expected_c : float
        What a perfect thermometer with that setting would show of it. [°C]
    shown_c : float
        Mean of the shots. [°C]
    shots_c : tuple[float, ...]
        As they were shown. [°C]
    error_k, expanded_u_k, k : float
        Shown minus expected, its expanded uncertainty and coverage factor. [K]
    budget : Budget
        Of the error, in K.
    limit_k : float or None
        Largest permitted magnitude of the error, where one is stated. [K]
    verdict : Verdict or None
    witnesses : tuple[Witness, ...]
        Strip of this set point, the target first, the thermometer last.
    """

    face_c: float
    expected_c: float
    shown_c: float
    shots_c: tuple[float, ...]
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
        point: InfraredPoint,
        *,
        shots_c: Sequence[float],
        limit_k: float | None = None,
        rule: DecisionRule = DecisionRule.GUARDED,
        witnesses: tuple[Witness, ...] = (),
    ) -> Self:
        """A set point as it was judged; without a limit nothing is stated."""
        return cls(
            face_c=point.face_c,
            expected_c=point.expected_c,
            shown_c=point.shown_c,
            shots_c=tuple(shots_c),
            error_k=point.error_k,
            expanded_u_k=point.expanded_u_k,
            k=point.budget.k,
            budget=point.budget,
            limit_k=limit_k,
            verdict=stated_verdict(
                error=point.error_k, expanded_u=point.expanded_u_k, limit=limit_k, rule=rule
            ),
            witnesses=witnesses,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class InfraredBody:
    """What an infrared thermometer showed of a target.

    Attributes
    ----------
    kind : Kind
        ``HANDHELD_INFRARED`` or ``RIG_INFRARED``.
    target : str
        How it is built, and where its probe is.
    band : str
        Wavelengths the thermometer sees, in words.
    spot : str
        Distance, spot and size of the target.
    emissivity_words : str
        What the thermometer was set to, and what the target has.
    points : tuple[CertifiedShots, ...]
    serial : str
        Or the name by which it is known; empty in data of before it was kept, as all that follow.
    last_digit, distance_to_spot : str
        As its maker prints them.
    emissivity_setting : str
        What it was set to, for which the errors hold.
    accuracy : str
        Its maker's limits of error; empty where nobody asks for them.
    limit_words : str
        Whose word the limit is.
    """

    kind: Kind
    target: str
    band: str
    spot: str
    emissivity_words: str
    points: tuple[CertifiedShots, ...]
    serial: str = ""
    last_digit: str = ""
    distance_to_spot: str = ""
    emissivity_setting: str = ""
    accuracy: str = ""
    limit_words: str = ""

    def __post_init__(self) -> None:
        """Refuse a kind that takes no shots."""
        if self.kind not in (Kind.HANDHELD_INFRARED, Kind.RIG_INFRARED):
            raise ValueError(f"{self.kind.value} is no infrared thermometer.")
