"""What stands on every paper of the shop, whatever was measured."""

from calibration.conformity import DecisionRule
from calibration.uncertainty.budget import Shape
from host.certificates.certificate import Certificate, InstrumentUsed
from host.certificates.kind import Kind
from host.certificates.results.results import Results

SIMULATED_LINES = {
    Kind.SENDER: "Simulated bench: no real sender was measured",
    Kind.IN_PLACE: "Simulated bench: corrected by what only a simulated bench found",
}
SIMULATED_LINE = "Simulated bench: nothing real was measured"
#: Ends the words of when something was measured, where a simulated clock said so.
SIMULATED_TIME = "simulated time"
SIMULATED_CLOCK_LINE = (
    "Simulated time is of the bench's own clock, which runs ahead of the desk's: it may lie after the issue."
)
DRAFT_LINE = "Draft: authorised by nobody, and no evidence of anything"
RELATES_LINE = "The results relate only to the item named above, in the state in which it was measured."
ACCREDITATION_LINE = "Issued by the shop named above; no accreditation is claimed."
TRACEABLE_LINE = "The result is traceable as far as the certificates named here are."
UNCERTIFIED_LINE = (
    "No instrument has a certificate: the result rests on its maker's word and is not traceable."
)
UNNAMED_LINE = "No instrument is named; the result rests on the uncertainties stated below."
WHOLE_LINE = "May be copied only whole; parts of it need the shop's written consent."
INTERVAL_LINE = "Nothing is said of when to calibrate next: that was not agreed with the customer."
NO_STATEMENT_LINE = "No statement against a limit"
ROUNDING_LINE = (
    "A difference of 1 K is 1.8 °F. Results are rounded to the place their uncertainty reaches; verdicts are "
    "taken before rounding."
)
OHM_ROUNDING_LINE = (
    "Results are rounded to the place their uncertainty reaches; verdicts are taken before rounding."
)
SIMPLE_RULE_LINE = (
    "What it means: the error alone is compared with the limit. Close to the limit the statement may be "
    "wrong with a probability of up to 50 %."
)
COVERAGE_LINE = (
    "U is the expanded uncertainty, the combined standard uncertainty times k; it covers about 95 % "
    "(JCGM 100:2008, k from Student's t at the effective degrees of freedom)."
)
SHAPE_LINE = (
    "U is the expanded uncertainty, the combined standard uncertainty times k; it covers about 95 % "
    "(JCGM 100:2008; k from Student's t, or from the shape of the result where rectangular lines rule it)."
)
STATED_COVERAGE_LINE = (
    "U is the expanded uncertainty with k = 2; it covers about 95 % of a normal distribution."
)
STATED_K_LINE = (
    "U is the expanded uncertainty with the k that stands beside it; it covers about 95 % as it was stated."
)
CAUTION_LINE = (
    "Open no cooling system that is warm: it is under pressure and scalds. Coolant is poisonous to people "
    "and animals; catch it and keep it away. Local rules and licensed practice come first."
)
#: Up to so many points the risk is printed one by one.
_RISKS_ONE_BY_ONE = 8
_USUAL_K = 2.0
#: Begins what stands for the certificate of an instrument that has none: "none, as bought, its maker".
_NO_CERTIFICATE = "none"


def stated_u(used: InstrumentUsed) -> str:
    """What an instrument is trusted to, without naming once more the certificate that stands beside it."""
    return used.expanded_u.replace(f"by certificate {used.certificate}", "by that certificate")


def traceability_line(certificate: Certificate) -> str:
    """What the result is traceable to, by the instruments that are named."""
    if not certificate.instruments:
        return UNNAMED_LINE
    if any(_has_certificate(used) for used in certificate.instruments):
        return TRACEABLE_LINE
    return UNCERTIFIED_LINE


def _has_certificate(used: InstrumentUsed) -> bool:
    return used.certificate.partition(",")[0].strip().casefold() != _NO_CERTIFICATE


def conditions_left(certificate: Certificate, results: Results) -> tuple[tuple[str, str], ...]:
    """Conditions that no section of the results says already in the same words."""
    said = {line for section in results.sections for line in section.lines}
    return tuple((name, words) for name, words in certificate.conditions if words not in said)


def rounding_line(certificate: Certificate) -> str:
    """How the numbers of the table are rounded."""
    in_ohms = certificate.kind in (Kind.OHMS_CHANNEL, Kind.DECADE_BOX, Kind.RESISTANCE_METER)
    of_a_round = any(getattr(point, "unit", "") == "Ω" for point in certificate.points)
    return OHM_ROUNDING_LINE if in_ohms or of_a_round else ROUNDING_LINE


def simulated_line(certificate: Certificate) -> str:
    """What is said on every page where the result rests on a simulated bench."""
    return SIMULATED_LINES.get(certificate.kind, SIMULATED_LINE) if certificate.simulated else ""


def simulated_clock_line(certificate: Certificate) -> str:
    """What is said of the times of readings where a simulated clock gave them."""
    return SIMULATED_CLOCK_LINE if certificate.measured.endswith(SIMULATED_TIME) else ""


def coverage_line(results: Results) -> str:
    """What U means on this paper."""
    if not results.budgets:
        is_two = all(k == _USUAL_K for table in results.tables for k in table.k)
        return STATED_COVERAGE_LINE if is_two else STATED_K_LINE
    exact = any(one.budget.shape is not Shape.STUDENT for one in results.budgets)
    return SHAPE_LINE if exact else COVERAGE_LINE


def rule_lines(certificate: Certificate, results: Results) -> list[str]:
    """Decision rule and the risk it carries; empty where nothing is stated."""
    if not certificate.rule_words:
        return []
    caution = [SIMPLE_RULE_LINE] if certificate.rule is DecisionRule.SIMPLE else []
    return [certificate.rule_words, *caution, *_risk_lines(results)]


def _risk_lines(results: Results) -> list[str]:
    if not results.wrong:
        return []
    basis = "nothing known of the item beforehand (JCGM 106:2012, clause 7)"
    if len(results.wrong) > _RISKS_ONE_BY_ONE:
        where, text, _ = max(results.wrong, key=lambda one: one[2])
        most = text.removeprefix("< ")
        return [f"A statement is wrong with a probability of at most {most}, at {where}; {basis}."]
    risks = "; ".join(f"{where}: {text}" for where, text, _ in results.wrong)
    return [f"Probability that the statement is wrong: {risks}; {basis}."]
