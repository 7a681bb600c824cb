"""What an infrared check comes to: set points judged, one sentence, the certificate as a value."""

import math
import statistics
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from calibration.conformity import DecisionRule, Verdict, overall_verdict
from calibration.infrared.emissivity import Shot
from calibration.infrared.hand_reading import BY_HAND
from calibration.infrared.infrared_point import FEWEST_SHOTS, InfraredPoint, Target, judge_shots
from calibration.infrared.outlying_shot import TEST_WORDS
from calibration.rounding import decimals_of, limit_text, rounded_text
from calibration.temperature_scale import FAHRENHEIT_PER_K
from calibration.uncertainty.line import rectangular_u
from host.certificates.as_found import AsFound, FoundPoint
from host.certificates.bodies.infrared import CertifiedShots, InfraredBody
from host.certificates.certificate import Certificate, InstrumentUsed, Witness
from host.certificates.kind import Kind as PaperKind
from host.citation import words_by_boot
from host.contact_reference import whose_word
from host.procedures.infrared.infrared_advice import infrared_opinions
from host.procedures.infrared.infrared_check import InfraredState, SetUp, TakenShot
from host.procedures.infrared.infrared_settings import METHOD_VERSION, InfraredSettings
from host.procedures.infrared.place_of_shot import places_words
from host.procedures.infrared.thermometer_identity import identity_of
from host.rig_sensor import BODY_HALF_WIDTH_K
from host.shop import Shop
from host.software_versions import software_versions
from host.verdict_words import RULE_WORDS

METHOD = "Infrared check: shots at a target beside a contact thermometer"
#: Lines of the budget that are the thermometer's own; the others are the target's.
_OWN = ("noise of the shots", "resolution", "temperature of the thermometer itself")
#: Decimal places that an end of what the error may be is printed with at most, beside a limit close to it.
_MOST_PLACES_OF_AN_END = 3

SET_UP_WORDS = {
    SetUp.WARMED_UP: ("thermometer", "half an hour in the room before the first shot"),
    SetUp.LENS_AND_STEAM: ("lens", "wiped; shot level, beside the steam and not through it"),
    SetUp.EMISSIVITY: ("setting", "looked at on the display before the first shot"),
    SetUp.DISTANCE: ("distance", "measured before the first shot"),
}


def judged_points(state: InfraredState) -> tuple[CertifiedShots, ...]:
    """Set points that are finished, judged.

    Raises
    ------
    InfraredError
        If a correction cannot be made.
    """
    return tuple(_judged(state, point) for point in range(state.closed))


def point_so_far(state: InfraredState) -> CertifiedShots | None:
    """The set point that is open, once it has shots enough to say anything."""
    if state.point_c is None or len(state.counted_at(state.closed)) < FEWEST_SHOTS:
        return None
    return _judged(state, state.closed)


def _judged(state: InfraredState, point: int) -> CertifiedShots:
    settings, counted = state.started, state.counted_at(point)
    judged = judge_shots(
        [shot.shown_c for shot in counted],
        target=target_of(settings, counted),
        shot=shot_of(settings, counted),
        law=settings.law,
        resolution_k=settings.resolution_k,
    )
    return CertifiedShots.of(
        judged,
        shots_c=[shot.shown_c for shot in counted],
        limit_k=settings.limit_at_k(judged.shown_c),
        rule=DecisionRule(settings.rule),
        witnesses=witnesses_of(judged),
    )


def shot_of(settings: InfraredSettings, counted: Sequence[TakenShot]) -> Shot:
    """How the shots that count were taken; the rig's sensor says itself how warm its body was."""
    bodies_c = [shot.body_c for shot in counted if shot.body_c is not None]
    if not settings.is_rig_sensor or not bodies_c:
        return settings.shot
    apart_k = 0.5 * (max(bodies_c) - min(bodies_c))
    return replace(
        settings.shot,
        believed_c=statistics.fmean(bodies_c),
        believed_half_width_k=BODY_HALF_WIDTH_K + apart_k,
    )


def target_of(settings: InfraredSettings, counted: Sequence[TakenShot]) -> Target:
    """The target as it stood during the shots that count; its way meanwhile widens its uncertainty."""
    references = [shot.reference_c for shot in counted]
    drift_u_k = rectangular_u(0.5 * (max(references) - min(references)))
    return Target(
        kind=settings.kind,
        probe_c=statistics.fmean(references),
        # The same reference each time: nothing averages out.
        u_probe_k=math.hypot(max(shot.u_reference_k for shot in counted), drift_u_k),
        air_c=settings.air_c,
        by_hand=None if settings.station else BY_HAND[settings.target],
    )


def witnesses_of(point: InfraredPoint) -> tuple[Witness, ...]:
    """Bars of the strip: the target with what is its own in the budget, the thermometer with the rest."""

    def bar_k(own: bool) -> float:
        lines = [line for line in point.budget.lines if (line.quantity in _OWN) is own]
        return point.budget.k * math.hypot(*(line.contribution for line in lines))

    return (
        Witness(name="target", temperature_c=point.expected_c, expanded_u_k=bar_k(own=False)),
        Witness(name="thermometer", temperature_c=point.shown_c, expanded_u_k=bar_k(own=True)),
    )


def sentence_of(points: Sequence[CertifiedShots], *, what: str = "thermometer") -> str:
    """One sentence on a whole check, resting on the set point that decides it."""
    verdicts = [point.verdict for point in points if point.verdict is not None]
    overall = overall_verdict(verdicts) if verdicts else None
    # A point that is merely unsure says nothing of why the check as a whole came out as it did.
    worst = max(
        (point for point in points if point.verdict is overall),
        key=lambda point: (abs(point.error_k) + point.expanded_u_k) / (point.limit_k or 1.0),
    )
    at = f"{worst.expected_c:.0f} °C"
    if overall is Verdict.NOT_DECIDED:
        return f"The {what} {_between(worst, at)}."
    size, u_k = abs(worst.error_k), worst.expanded_u_k
    if size <= u_k and overall is not Verdict.OUT_OF_TOLERANCE:
        off = f"reads true at {at} as far as can be told, which is to {_kelvin(u_k)}"
    else:
        side = "high" if worst.error_k > 0.0 else "low"
        off = f"reads {_kelvin(size, u_k)} too {side} at {at}, sure to {_kelvin(u_k)}"
    if overall is None:
        return f"The {what} {off}; there is no limit to hold it against."
    if overall is Verdict.IN_TOLERANCE:
        return f"The {what} is within its limits: it {off}."
    return f"The {what} is outside its limits: it {off}; {_limit(worst.limit_k or 0.0)} is allowed."


def _between(point: CertifiedShots, at: str) -> str:
    """Where the error may lie that decides nothing, and that its limit is in there."""
    limit_k, u_k = point.limit_k or 0.0, point.expanded_u_k
    nearest_k, farthest_k = abs(point.error_k) - u_k, abs(point.error_k) + u_k
    side, other = ("high", "low") if point.error_k > 0.0 else ("low", "high")
    usual = min(max(decimals_of(u_k), 0), 1)
    # Rounded, an end must not fall onto the limit: then it would not lie in between.
    places = next(
        (
            places
            for places in range(usual, _MOST_PLACES_OF_AN_END)
            if float(rounded_text(abs(nearest_k), places)) != limit_k
            and float(rounded_text(farthest_k, places)) != limit_k
        ),
        _MOST_PLACES_OF_AN_END,
    )
    near, far = _both_scales(abs(nearest_k), places), _both_scales(farthest_k, places)
    span = f"{near} and {far} too {side}" if nearest_k > 0.0 else f"{far} too {side} and {near} too {other}"
    return f"may read anything between {span} at {at}; the limit of {_limit(limit_k)} lies in between"


def _limit(limit_k: float) -> str:
    """A limit for a customer, on both scales: with its own digits where it was stated."""
    k, f = (
        limit_text(limit, stated_places=1, derived_places=1)
        for limit in (limit_k, limit_k * FAHRENHEIT_PER_K)
    )
    return f"{k} K ({f} °F)"


def _kelvin(size_k: float, u_k: float | None = None) -> str:
    """A difference for a customer, on both scales."""
    places = decimals_of(u_k) if u_k else 1
    return _both_scales(size_k, min(max(places, 0), 1))


def _both_scales(size_k: float, places: int) -> str:
    return f"{rounded_text(size_k, places)} K ({rounded_text(size_k * FAHRENHEIT_PER_K, places)} °F)"


def certificate_of(
    state: InfraredState,
    *,
    run: int,
    number: str,
    shop: Shop,
    issued: date,
    measured: str,
    as_found: AsFound | None = None,
) -> Certificate:
    """Certificate of a check whose set points are all finished."""
    settings, points = state.started, judged_points(state)
    verdicts = [point.verdict for point in points if point.verdict is not None]
    rule = DecisionRule(settings.rule) if verdicts else None
    what = "infrared sensor of the bench" if settings.is_rig_sensor else "thermometer"
    return Certificate(
        number=number,
        issued=issued.isoformat(),
        measured=measured,
        shop=shop.name,
        shop_address=shop.address,
        item=settings.item,
        customer=settings.customer,
        customer_contact=settings.customer_contact,
        place=settings.place,
        received=settings.received,
        sentence=sentence_of(points, what=what),
        method=f"{METHOD}, version {METHOD_VERSION} (run {run:04d})",
        body=InfraredBody(
            kind=PaperKind.RIG_INFRARED if settings.is_rig_sensor else PaperKind.HANDHELD_INFRARED,
            target=settings.kind.words,
            band=f"{settings.law.from_um:g} to {settings.law.to_um:g} µm",
            spot=settings.accept_spot(),
            emissivity_words=f"{_setting_words(settings)}; the target has {settings.surface_words}",
            points=points,
            **identity_of(settings),
        ),
        simulated=settings.simulated,
        verdict=overall_verdict(verdicts) if verdicts else None,
        rule=rule,
        rule_words=RULE_WORDS[rule] if rule else "",
        instruments=(_reference_used(settings),),
        conditions=_conditions(state),
        remarks=_remarks(state),
        not_done=(_not_done(points),),
        citations=_citations(state),
        software=software_versions(),
        item_condition="as found"
        if settings.as_left_of is None
        else f"as left, after: {settings.done}"
        + (f"; as found: certificate {as_found.number}" if as_found else ""),
        operator=settings.operator,
        opinions=infrared_opinions(settings, points),
        as_found=as_found,
    )


def as_found_of(state: InfraredState, *, number: str, measured: str, done: str) -> AsFound | None:
    """How a check that is over found the thermometer; None where it was held against no limit."""
    points = judged_points(state)
    verdicts = [point.verdict for point in points if point.verdict is not None]
    if not points or len(verdicts) != len(points):
        return None
    return AsFound(
        number=number,
        measured=measured,
        verdict=overall_verdict(verdicts),
        points=tuple(
            FoundPoint(
                temperature_c=point.expected_c,
                error_k=point.error_k,
                expanded_u_k=point.expanded_u_k,
                verdict=verdict,
                k=point.k,
            )
            for point, verdict in zip(points, verdicts, strict=True)
        ),
        done=done,
    )


def _setting_words(settings: InfraredSettings) -> str:
    if settings.is_rig_sensor:
        return f"its emissivity cell holds {settings.set_emissivity:g}"
    return f"set to {settings.set_emissivity:g}"


def _body_words(state: InfraredState) -> str:
    """How warm the rig's sensor was, as it said itself; empty of a handheld."""
    bodies_c = [shot.body_c for shot in state.shots if shot.body_c is not None]
    if not bodies_c:
        return ""
    low, high = min(bodies_c), max(bodies_c)
    span = f"{low:.2f} °C" if high - low < 0.01 else f"{low:.2f} to {high:.2f} °C"
    return f"{span} by its own word, taken as its surroundings within {BODY_HALF_WIDTH_K:g} K"


def _reference_used(settings: InfraredSettings) -> InstrumentUsed:
    content = settings.reference
    role = "reference probe" if settings.station else "contact thermometer"
    certificate = str(content.get("certificate", "none"))
    issuer = str(content.get("issuer", ""))
    stated = content.get("expanded_u_k") or max(
        (row["expanded_u_k"] for row in content.get("point", ())), default=None
    )
    if stated is not None:
        expanded_u = f"{stated:g} K (k = {content.get('k', 2.0):g})"
    elif "accuracy_k" in content:
        expanded_u = f"within {content['accuracy_k']:g} K by {whose_word(content)}"
    else:
        expanded_u = "not stated"
    return InstrumentUsed(
        role=role,
        serial=str(content["serial"]),
        certificate=f"{certificate}, {issuer}" if issuer else certificate,
        expanded_u=expanded_u,
        due=str(content.get("due", "no date set")),
    )


def _conditions(state: InfraredState) -> tuple[tuple[str, str], ...]:
    settings = state.started
    said = (
        ("reference", "probe of the bench, read at the moment of each shot")
        if settings.station
        else ("reference", "contact thermometer, read and typed by hand at each shot"),
        ("target", settings.kind.words),
        (
            "air",
            f"{round(settings.air_c, 1):g} °C beside the target; it mirrors that within "
            f"{settings.surroundings_half_width_k:g} K",
        ),
        *(SET_UP_WORDS[step] for step in state.set_up),
        ("body of the sensor", _body_words(state)),
        ("station", settings.station),
        ("job", settings.job),
    )
    return tuple((name, words) for name, words in said if words)


def _remarks(state: InfraredState) -> tuple[str, ...]:
    settings = state.started
    left_out = [
        f"Shot {shot.number} ({shot.shown_c:.1f} °C) was left out: {shot.reason}"
        for shot in state.shots
        if not shot.counts
    ]
    kept = [
        f"Shot {shot.number} ({shot.shown_c:.1f} °C) lies apart by {TEST_WORDS} and counts: {shot.reason}"
        for shot in state.shots
        if shot.counts and shot.is_answered
    ]
    assumed = (
        "How much colder than its probe the face of the target is, and how much of the spot looks past it, "
        "are spans from simulation and common practice, not measured on this target."
    )
    by_hand = (
        "The contact thermometer was read by hand beside each shot, which makes the uncertainty larger than "
        f"with a probe read by the bench: {BY_HAND[settings.target].words} (assumed, not measured)."
    )
    return (assumed, *(() if settings.station else (by_hand,)), *places_words(state), *left_out, *kept)


def _not_done(points: Sequence[CertifiedShots]) -> str:
    low, high = min(p.shown_c for p in points), max(p.shown_c for p in points)
    return (
        f"Nothing was measured below {low:.0f} °C and above {high:.0f} °C, nor at another distance "
        "or setting."
    )


def _citations(state: InfraredState) -> tuple[str, ...]:
    cited = [shot.cites for shot in state.shots if shot.cites is not None]
    by_hand = f"{len(state.shots)} shots, typed by hand beside the contact thermometer"
    return words_by_boot(cited) if cited else (by_hand,)
