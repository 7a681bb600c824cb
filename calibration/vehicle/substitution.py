"""Which part is off: sender, wiring, computer or gauge, from what is shown with the decade box put in.

The box in place of the sender at the computer's own connector leaves only the computer to be wrong; at the
sender's plug the wiring comes in; with the sender fitted, and the coolant's temperature known, the sender
does. A gauge that lives from the same signal is compared with the scan data at the same moment.

Switch the ignition off before a connector is parted; never open a warm cooling system.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from calibration.conformity import DecisionRule, Verdict, decide
from calibration.curves import ReferenceCurve
from calibration.errors import CalibrationError
from calibration.rounding import decimals_of, rounded_text, two_digits
from calibration.vehicle.shown_value import Display, Place, ShownValue, SubstitutionError

#: Coverage factor of the findings, normal distribution assumed.
K = 2.0

#: Settings of the box count as the same within this share.
_SAME_SETTING = 1e-3


class Part(StrEnum):
    """What may be off."""

    COMPUTER = "computer"
    WIRING = "wiring"
    SENDER = "sender"
    SENDER_AND_WIRING = "sender and wiring together"
    GAUGE = "dash gauge"


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowances:
    """What each part may add and still be called sound. Assumed; no document at hand prints them. [K]"""

    computer_k: float = 1.5
    wiring_k: float = 0.5
    sender_k: float = 2.0
    gauge_k: float = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What is said of one part.

    Attributes
    ----------
    part : Part
    size_k, expanded_u_k : float
        What it adds to the temperature shown, k = 2. [K]
    allowance_k : float
        What it may add. [K]
    verdict : Verdict
        Guarded: the uncertainty counts.
    series_ohm, leakage_ohm : tuple[float, float] or None
        For wiring that is off: a resistance in line, or one to ground, and its expanded uncertainty. [Ω]
    words, next_action : str
    """

    part: Part
    size_k: float
    expanded_u_k: float
    allowance_k: float
    verdict: Verdict
    words: str
    next_action: str
    series_ohm: tuple[float, float] | None = None
    leakage_ohm: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Off:
    """How far a value shown is off what the curve says, with what is its own and what the box brings."""

    value: ShownValue
    off_k: float
    own_u_k: float
    box_u_k: float


def separate(
    curve: ReferenceCurve, values: Sequence[ShownValue], *, allowances: Allowances | None = None
) -> tuple[Finding, ...]:
    """Part sender, wiring, computer and gauge.

    Parameters
    ----------
    curve : ReferenceCurve
        What the computer holds, as published.
    values : sequence of ShownValue
        As many as there are; what cannot be parted is left out, or said of two parts together.
    allowances : Allowances, optional

    Raises
    ------
    SubstitutionError
        If nothing follows from the values.
    CurveRangeError
        If a setting of the box is no temperature on the curve.
    """
    allow = allowances or Allowances()
    scan = [_off(curve, value) for value in values if value.display is Display.SCAN_DATA]
    by_place = {place: [one for one in scan if one.value.place is place] for place in Place}
    findings: list[Finding] = []
    if by_place[Place.AT_COMPUTER]:
        findings.append(_computer(by_place[Place.AT_COMPUTER], allow))
        if by_place[Place.AT_SENDER_PLUG]:
            findings.append(_wiring(curve, by_place, allow))
    findings += _sender(by_place, allow)
    findings += _gauge(values, allow)
    if not findings:
        raise SubstitutionError(
            "Nothing can be parted from these values. Read the scan data with the box at the computer's "
            "connector, then at the sender's plug with the same setting."
        )
    return tuple(findings)


def expected_c(curve: ReferenceCurve, resistance_ohm: float) -> float:
    """What a computer holding the curve shows for a resistance, wherever the curve can be read. [°C]"""
    if not curve.judges_only_printed_rows:
        return curve.indicated_c(resistance_ohm, at_c=curve.valid_from_c)
    row = min(curve.rows, key=lambda row: abs(math.log(row.resistance_ohm / resistance_ohm)))
    return curve.indicated_c(resistance_ohm, at_c=row.temperature_c)


def _off(curve: ReferenceCurve, value: ShownValue) -> _Off:
    if value.resistance_ohm is None:
        assert value.true_c is not None
        off_k = value.shown_c - value.true_c
        return _Off(
            value=value, off_k=off_k, own_u_k=math.hypot(value.u_shown_k, value.u_true_k), box_u_k=0.0
        )
    return _Off(
        value=value,
        off_k=value.shown_c - expected_c(curve, value.resistance_ohm),
        own_u_k=value.u_shown_k,
        box_u_k=abs(curve.sensitivity_k_per_ohm(value.resistance_ohm)) * value.u_resistance_ohm,
    )


def _mean(found: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Mean weighted by 1/u², and its standard uncertainty with no credit for number.

    A display rounds alike wherever the box was dialled to a whole degree, and one thermometer and one box
    stand behind all: the values are taken as fully correlated.
    """
    weights = [1.0 / u**2 for _, u in found]
    total = math.fsum(weights)
    mean = math.fsum(weight * size for weight, (size, _) in zip(weights, found, strict=True)) / total
    return mean, math.fsum(weight * u for weight, (_, u) in zip(weights, found, strict=True)) / total


def _computer(at_computer: Sequence[_Off], allow: Allowances) -> Finding:
    size_k, u_k = _mean([(one.off_k, math.hypot(one.own_u_k, one.box_u_k)) for one in at_computer])
    return _finding(
        Part.COMPUTER,
        size_k,
        u_k,
        allow.computer_k,
        off="With the box at its own connector the computer shows {size}: it, its supply or its ground is "
        "off, or it holds another curve.",
        action="Measure the 5 V supply and the ground at that connector; then dial two more temperatures. An "
        "error that changes with temperature means another curve.",
    )


def _wiring(curve: ReferenceCurve, by_place: dict[Place, list[_Off]], allow: Allowances) -> Finding:
    pairs = _pairs(by_place[Place.AT_SENDER_PLUG], by_place[Place.AT_COMPUTER])
    size_k, u_k = _mean([(plug.off_k - near.off_k, _pair_u_k(plug, near)) for plug, near in pairs])
    finding = _finding(
        Part.WIRING,
        size_k,
        u_k,
        allow.wiring_k,
        off="Between the computer's connector and the sender's plug the value shown changes by {size}.",
        action="Wiggle the harness and watch the scan data; look for green or wet contacts at both plugs.",
    )
    if finding.verdict is not Verdict.OUT_OF_TOLERANCE:
        return finding
    return _with_ohms(finding, curve, pairs)


def _with_ohms(finding: Finding, curve: ReferenceCurve, pairs: Sequence[tuple[_Off, _Off]]) -> Finding:
    """Say what resistance in the wiring would do it: in line if less is shown, to ground if more."""
    in_line, to_ground = [], []
    for plug, near in pairs:
        box_ohm = plug.value.resistance_ohm
        assert box_ohm is not None
        slope = curve.sensitivity_k_per_ohm(box_ohm)
        seen_ohm = _ohm_shown(curve, expected_c(curve, box_ohm) + plug.off_k - near.off_k, box_ohm)
        u_ohm = _pair_u_k(plug, near) / abs(slope)
        in_line.append((seen_ohm - box_ohm, u_ohm))
        to_ground.append((1.0 / seen_ohm - 1.0 / box_ohm, u_ohm / seen_ohm**2))
    values = {name: getattr(finding, name) for name in finding.__dataclass_fields__}
    if finding.size_k < 0.0:
        ohm, u_ohm = _mean(in_line)
        words = f"As {_with_u(ohm, K * u_ohm)} Ω in line would do it: a bad contact or a broken strand."
        extra = {"series_ohm": (ohm, K * u_ohm)}
    else:
        siemens, u_siemens = _mean(to_ground)
        ohm, u_ohm = 1.0 / siemens, u_siemens / siemens**2
        words = f"As {_with_u(ohm, K * u_ohm)} Ω to ground would do it: moisture or chafed insulation."
        extra = {"leakage_ohm": (ohm, K * u_ohm)}
    return Finding(**{**values, **extra, "words": f"{finding.words} {words}"})


def _with_u(ohm: float, expanded_u_ohm: float) -> str:
    return f"{rounded_text(ohm, decimals_of(expanded_u_ohm))} ± {two_digits(expanded_u_ohm)}"


def _ohm_shown(curve: ReferenceCurve, shown_c: float, near_ohm: float) -> float:
    """Resistance for which the curve shows a temperature, also beyond its printed range. [Ω]"""
    low, high = near_ohm / 50.0, near_ohm * 50.0
    for _ in range(80):
        middle = math.sqrt(low * high)
        if _extended_c(curve, middle) > shown_c:
            low = middle
        else:
            high = middle
    return math.sqrt(low * high)


def _extended_c(curve: ReferenceCurve, resistance_ohm: float) -> float:
    try:
        return expected_c(curve, resistance_ohm)
    except CalibrationError:
        return math.inf if resistance_ohm < curve.nominal.resistance_ohm(curve.valid_to_c) else -math.inf


def _pairs(plugs: Sequence[_Off], nears: Sequence[_Off]) -> list[tuple[_Off, _Off]]:
    """Each value at the plug with the one at the computer whose setting is nearest to it."""
    return [(plug, min(nears, key=lambda near: abs(_log_ratio(plug, near)))) for plug in plugs]


def _log_ratio(one: _Off, other: _Off) -> float:
    assert one.value.resistance_ohm is not None and other.value.resistance_ohm is not None
    return math.log(one.value.resistance_ohm / other.value.resistance_ohm)


def _pair_u_k(plug: _Off, near: _Off) -> float:
    """Standard uncertainty of a difference; at the same setting the box itself falls out. [K]"""
    own_u_k = math.hypot(plug.own_u_k, near.own_u_k)
    if abs(_log_ratio(plug, near)) < _SAME_SETTING:
        return own_u_k
    return math.hypot(own_u_k, math.hypot(plug.box_u_k, near.box_u_k))


def _sender(by_place: dict[Place, list[_Off]], allow: Allowances) -> list[Finding]:
    fitted = by_place[Place.SENDER_FITTED]
    if not fitted:
        return []
    behind = by_place[Place.AT_SENDER_PLUG] or by_place[Place.AT_COMPUTER]
    if not behind:
        return []
    alone = bool(by_place[Place.AT_SENDER_PLUG])
    differences = []
    for one in fitted:
        near = min(behind, key=lambda other: abs(other.value.shown_c - one.value.shown_c))
        u_k = math.hypot(one.own_u_k, math.hypot(near.own_u_k, near.box_u_k))
        differences.append((one.off_k - near.off_k, u_k))
    size_k, u_k = _mean(differences)
    return [
        _finding(
            Part.SENDER if alone else Part.SENDER_AND_WIRING,
            size_k,
            u_k,
            allow.sender_k,
            off="With the sender fitted the value shown is off by {size} beyond what computer "
            + ("and wiring add." if alone else "adds."),
            action=(
                "Take the sender out and check it on the bench against its curve."
                if alone
                else "Put the box at the sender's plug with the same setting: that parts sender and wiring."
            ),
        )
    ]


def _gauge(values: Sequence[ShownValue], allow: Allowances) -> list[Finding]:
    differences = []
    for gauge in (value for value in values if value.display is Display.GAUGE):
        for scan in (value for value in values if value.display is Display.SCAN_DATA):
            if _same_moment(gauge, scan):
                u_k = math.hypot(gauge.u_shown_k, scan.u_shown_k)
                differences.append((gauge.shown_c - scan.shown_c, u_k))
    if not differences:
        return []
    size_k, u_k = _mean(differences)
    return [
        _finding(
            Part.GAUGE,
            size_k,
            u_k,
            allow.gauge_k,
            off="The gauge stands {size} from the scan data at the same moment.",
            action="First make sure that the gauge has no sender of its own; if it has, put the box there. "
            "Many gauges stand still on purpose over a wide middle.",
        )
    ]


def _same_moment(gauge: ShownValue, scan: ShownValue) -> bool:
    if gauge.place is not scan.place:
        return False
    if gauge.resistance_ohm is None or scan.resistance_ohm is None:
        return gauge.true_c == scan.true_c
    return math.isclose(gauge.resistance_ohm, scan.resistance_ohm, rel_tol=_SAME_SETTING)


def _size_words(size_k: float, expanded_u_k: float) -> str:
    if not (math.isfinite(size_k) and math.isfinite(expanded_u_k)):
        return "an unknown amount"
    size = rounded_text(size_k, decimals_of(expanded_u_k))
    sign = "+" if size_k > 0.0 and size.strip("0.") else ""
    return f"{sign}{size} ± {two_digits(expanded_u_k)} K"


def _finding(part: Part, size_k: float, u_k: float, allowance_k: float, *, off: str, action: str) -> Finding:
    expanded_u_k = K * u_k
    verdict = decide(
        error_k=size_k, expanded_u_k=expanded_u_k, limit_k=allowance_k, rule=DecisionRule.GUARDED
    )
    size = _size_words(size_k, expanded_u_k)
    if verdict is Verdict.OUT_OF_TOLERANCE:
        words = off.format(size=size)
    elif verdict is Verdict.IN_TOLERANCE:
        words = f"The {part} adds {size}, within the {allowance_k:g} K that it may (assumed): sound."
        action = "Nothing to do here."
    else:
        words = f"The {part} adds {size} where it may add {allowance_k:g} K (assumed): cannot tell."
        action = "Read at more settings of the box, or with a display of finer steps, and ask again."
    return Finding(
        part=part,
        size_k=size_k,
        expanded_u_k=expanded_u_k,
        allowance_k=allowance_k,
        verdict=verdict,
        words=words,
        next_action=action,
    )
