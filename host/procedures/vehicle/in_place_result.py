"""What the readings on the vehicle come to: who disagrees, which part is off, what to try next."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.conformity import Verdict
from calibration.curves import ReferenceCurve
from calibration.vehicle.coolant_at_sender import coolant_behind
from calibration.vehicle.in_place import (
    Claim,
    InPlaceComparison,
    InPlaceReading,
    Thermostat,
    Where,
    claim_of,
    compare_in_place,
)
from calibration.vehicle.shown_value import Display, Place, ShownValue, SubstitutionError
from calibration.vehicle.substitution import Finding, separate
from host.certificates.certificate import Witness
from host.procedures.vehicle.in_place import InPlaceState, Step

_K = 2.0
_ENOUGH_READINGS = 2

#: Names on the strip. A bar is what a reading allows for the coolant at the sender.
_NAMES = {
    Where.SCAN_DATA: "scan data",
    Where.GAUGE: "dash gauge",
    Where.HEAD: "by the head",
    Where.OUTLET_HOSE: "by outlet hose",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class InPlaceResult:
    """A comparison as far as it has come.

    Attributes
    ----------
    comparison : InPlaceComparison or None
        None before two readings are there.
    findings : tuple[Finding, ...]
        Of the parts; empty while nothing can be parted.
    witnesses : tuple[Witness, ...]
        Bars of the agreement strip, the fairest first.
    words, next_action : str
    """

    comparison: InPlaceComparison | None
    findings: tuple[Finding, ...]
    witnesses: tuple[Witness, ...]
    words: str
    next_action: str

    @property
    def parts_off(self) -> tuple[Finding, ...]:
        """Parts that are off."""
        return tuple(one for one in self.findings if one.verdict is Verdict.OUT_OF_TOLERANCE)


def result_of(state: InPlaceState, curve: ReferenceCurve) -> InPlaceResult:
    """Result of a state.

    Raises
    ------
    CurveError
        If a box setting is no temperature on the curve.
    """
    thermostat = state.thermostat or Thermostat.UNKNOWN
    readings = state.readings
    comparison = (
        compare_in_place(readings, thermostat=thermostat) if len(readings) >= _ENOUGH_READINGS else None
    )
    findings = _findings(state, curve)
    words, next_action = said_of(comparison, findings)
    return InPlaceResult(
        comparison=comparison,
        findings=findings,
        witnesses=witnesses_of(readings, thermostat),
        words=words,
        next_action=next_action,
    )


def _findings(state: InPlaceState, curve: ReferenceCurve) -> tuple[Finding, ...]:
    values = [value for box in state.boxes.values() for value in box.values]
    if not any(value.display is Display.SCAN_DATA for value in values):
        return ()
    try:
        return separate(curve, [*values, *_with_sender(state)])
    except SubstitutionError:
        return ()


def _with_sender(state: InPlaceState) -> list[ShownValue]:
    """What is shown with the sender fitted, where the head beside it says how hot the coolant is."""
    head = state.taken.get(Step.HEAD)
    if head is None:
        return []
    coolant = coolant_behind(head.reading)
    displays = {Step.SCAN_DATA: Display.SCAN_DATA, Step.GAUGE: Display.GAUGE}
    return [
        ShownValue(
            place=Place.SENDER_FITTED,
            display=display,
            shown_c=state.taken[step].reading.temperature_c,
            u_shown_k=state.taken[step].u_display_k,
            true_c=coolant.temperature_c,
            u_true_k=coolant.standard_u_k,
        )
        for step, display in displays.items()
        if step in state.taken
    ]


def witnesses_of(readings: Sequence[InPlaceReading], thermostat: Thermostat) -> tuple[Witness, ...]:
    """Bars of the strip: what each reading allows for the coolant at the sender, the fairest first."""
    by_where = {reading.where: reading for reading in readings}
    order = (Where.HEAD, Where.SCAN_DATA, Where.GAUGE, Where.OUTLET_HOSE)
    bars = ((where, claim_of(by_where[where], thermostat)) for where in order if where in by_where)
    return tuple(_bar(where, claim) for where, claim in bars if math.isfinite(claim.most_c))


def _bar(where: Where, claim: Claim) -> Witness:
    return Witness(
        name=_NAMES[where],
        temperature_c=0.5 * (claim.least_c + claim.most_c),
        expanded_u_k=0.5 * (claim.most_c - claim.least_c) + claim.expanded_u_k,
    )


def said_of(comparison: InPlaceComparison | None, findings: Sequence[Finding]) -> tuple[str, str]:
    """What was found and what to try: parts go before readings, as the box tells more than any comparison."""
    off = [one for one in findings if one.verdict is Verdict.OUT_OF_TOLERANCE]
    if off:
        return " ".join(one.words for one in off), off[0].next_action
    open_ones = [one for one in findings if one.verdict is Verdict.NOT_DECIDED]
    if comparison is None:
        if not findings:
            return (
                "Nothing can be compared yet.",
                "Take two readings at least, the head beside the sensor among them.",
            )
        return _of_parts(findings, open_ones)
    if not findings:
        return comparison.words, comparison.next_action
    words, next_action = _of_parts(findings, open_ones)
    if comparison.disagreements:
        return f"{comparison.words} {words}", comparison.next_action
    return f"{comparison.words} {words}", next_action


def _of_parts(findings: Sequence[Finding], open_ones: Sequence[Finding]) -> tuple[str, str]:
    if open_ones:
        return " ".join(one.words for one in open_ones), open_ones[0].next_action
    named = ", ".join(one.part.value for one in findings)
    return f"Sound by the decade box: {named}.", "Nothing to do here."
