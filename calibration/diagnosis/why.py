"""A diagnosis as it is said to a person: why, and what to do next."""

from collections.abc import Sequence

from calibration.curves import ReferenceCurve
from calibration.diagnosis.curve_view import is_known_by_limits
from calibration.diagnosis.diagnosis import Diagnosis, Finding
from calibration.diagnosis.fault import IN_A_BURST, SCATTERED, Fault
from calibration.diagnosis.healthy_spread import healthy_spread
from calibration.rounding import decimals_of, rounded_text

# Findings of less probability than this are not worth a word.
_WORTH_A_WORD = 0.05

_STEM = "stem"


def why_words(diagnosis: Diagnosis, curve: ReferenceCurve) -> tuple[str, ...]:
    """Sentences on the reason: what it is or that it cannot be told, and the next action.

    Parameters
    ----------
    diagnosis : Diagnosis
    curve : ReferenceCurve
        The one the points were compared with.
    """
    answer = diagnosis.answer
    if answer.fault is Fault.CANNOT_TELL:
        return _undecided_words(diagnosis, curve)
    if answer.fault is Fault.HEALTHY:
        return (
            f"The points scatter as those of good parts do ({_spread_words(curve)}): probability "
            f"{_share(answer.probability)}. No fault is to be named.",
        )
    return (
        f"Most likely {named_words(answer)}: probability {_share(answer.probability)}.",
        f"Next: {answer.next_action}",
    )


def named_words(finding: Finding) -> str:
    """A finding with its size in words."""
    if finding.fault is Fault.ANOTHER_CURVE:
        return f"{finding.fault.words} (here {finding.variant})"
    if finding.fault is Fault.STEM_OR_THERMOMETER:
        return _temperature_words(finding)
    if finding.variant == IN_A_BURST:
        return f"{finding.fault.words}, {IN_A_BURST}"
    return f"{finding.fault.words}{_about(finding)}"


def _temperature_words(finding: Finding) -> str:
    size = abs(finding.size or 0.0)
    text = _rounded(size, finding.size_u or size)
    if finding.variant == _STEM:
        return f"the sender stood colder than the bath, by about {text} % of its distance from the air (stem)"
    side = "high" if (finding.size or 0.0) > 0.0 else "low"
    return f"the thermometer read about {text} K too {side}, or hung at another temperature than the sender"


def _about(finding: Finding) -> str:
    if finding.size is None or finding.size_u is None:
        return ""
    size, size_u, unit = finding.size, finding.size_u, finding.unit
    if unit == "ohm":
        size, size_u, unit = (size / 1e3, size_u / 1e3, "kΩ") if size >= 1e4 else (size, size_u, "Ω")
    text = _rounded(size, size_u)
    sign = "+" if unit == "%" and size > 0.0 else ""
    return f", about {sign}{text} {unit}"


def _undecided_words(diagnosis: Diagnosis, curve: ReferenceCurve) -> tuple[str, ...]:
    likely = [finding for finding in diagnosis.findings if finding.probability >= _WORTH_A_WORD]
    likely.sort(key=lambda finding: -finding.probability)
    if likely[0].fault is Fault.NONE_OF_THESE:
        words = _unlisted_words(likely[0])
    else:
        listed = "; ".join(
            f"{named_words(finding)} ({_share(finding.probability)})" for finding in likely[:3]
        )
        words = f"Cannot tell. It may be {listed}."
    by_limits = _BY_LIMITS if is_known_by_limits(curve) and not _is_dead(diagnosis) else ()
    return (words, f"Next: {diagnosis.answer.next_action}", *by_limits)


#: What helps where a curve says where parts are accepted and not how they run.
_BY_LIMITS = (
    "This curve is printed as limits alone, and a good part may run anywhere between them. Two things would "
    "tell: another sender of the same part, measured the same way (what both show is the part, what one "
    "shows is its fault), and this one once more with its terminals cleaned (what goes was the contact).",
)


def _unlisted_words(finding: Finding) -> str:
    kind = "these points follow no thermistor" if finding.variant == SCATTERED else finding.fault.words
    return f"Cannot tell: none of the usual faults explains this ({_share(finding.probability)}); {kind}."


def _is_dead(diagnosis: Diagnosis) -> bool:
    """Whether the circuit itself is in question."""
    return diagnosis.likeliest.fault in {Fault.OPEN, Fault.SHORT, Fault.INTERMITTENT, Fault.NONE_OF_THESE}


def _rounded(size: float, size_u: float) -> str:
    """Size to the first digit of its uncertainty: it is an opinion, not a measurement."""
    return rounded_text(size, decimals_of(size_u) - 1)


def _share(probability: float) -> str:
    """Probability as a percentage that is never rounded up to certainty."""
    return "over 99 %" if probability > 0.99 else f"{100.0 * probability:.0f} %"


def _spread_words(curve: ReferenceCurve) -> str:
    spread = healthy_spread(curve)
    if spread.printed:
        return "within the printed limits"
    r25_percent, beta_percent = 100.0 * spread.r25_half_width, 100.0 * spread.beta_half_width
    return f"R25 ±{r25_percent:g} %, beta ±{beta_percent:g} %, assumed: the curve prints no tolerance"


def opinions_of(diagnosis: Diagnosis, curve: ReferenceCurve) -> Sequence[str]:
    """What a certificate may carry as an opinion: nothing for a good sender."""
    if diagnosis.answer.fault is Fault.HEALTHY:
        return ()
    return why_words(diagnosis, curve)
