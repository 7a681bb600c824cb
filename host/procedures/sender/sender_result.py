"""From a sender check whose plateaus are all read, or whose loop is closed, to its certificate."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, tzinfo
from typing import Any

from calibration.bath.immersion import IMMERSIONS
from calibration.bench_point import BenchPoint, BenchSetup, judge_plateau
from calibration.conformity import overall_verdict
from calibration.contract.readings import ReadingPack
from calibration.curves import ReferenceCurve, curve_names, load_curve
from calibration.diagnosis import Fault, Intermittence, opinions_of, why_on_the_bench
from calibration.sender_point import SenderPoint
from calibration.thermistor.fit import FitPoint, Model, fit_curve
from host.certificates.bodies.sender import SenderBody
from host.certificates.certificate import (
    Certificate,
    CertifiedPoint,
    Coefficient,
    InstrumentUsed,
)
from host.certificates.chosen_curve import with_chosen_curve
from host.certificates.paper_lines import SIMULATED_TIME
from host.citation import joined, words_by_boot
from host.local_time import local_span
from host.procedures.bench_setup import ReadingsOf, bench_setup_of, decade_box_of
from host.procedures.sender.burst_watch import BURSTS, contact_of
from host.procedures.sender.loop_result import JudgedLoop, judged_loop_of
from host.procedures.sender.measured_lines import MeasuredLines, measured_lines_of
from host.procedures.sender.plateau_of_packs import ASSUMED_AIR_C, is_usable, mean_of, plateau_of
from host.procedures.sender.sender_check_settings import (
    LOOP_METHOD,
    LOOP_METHOD_VERSION,
    METHOD,
    METHOD_VERSION,
    Course,
    SenderCheckSettings,
)
from host.procedures.sender.sender_check_state import SenderCheckState
from host.procedures.sender.sender_not_done import not_done
from host.procedures.sender.sender_witnesses import disagreements_of, witness_words, witnesses_of
from host.procedures.sender.set_up_steps import SET_UP_STEPS
from host.procedures.sender.trials import TRIAL_STEPS, TRIAL_WORDS, Trial
from host.shop import Shop
from host.software_versions import software_versions
from host.verdict_words import RULE_WORDS, sentence_of


def bench_points_of(
    state: SenderCheckState, setup: BenchSetup, readings_of: ReadingsOf
) -> tuple[tuple[BenchPoint, tuple[ReadingPack, ...]], ...]:
    """Judged temperatures of a run, each with readings that were held there or, of a loop, nearest to it."""
    settings = state.started
    if settings.course is Course.LOOP:
        loop = judged_loop_of(state, setup, readings_of)
        return tuple(zip(loop.points, loop.held, strict=True))
    judged = []
    for window in state.windows:
        packs = tuple(pack for pack in readings_of(window.citation) if is_usable(pack))
        plateau = plateau_of(packs, setup)
        point = judge_plateau(plateau, setup, rule=settings.decision_rule, limit_k=settings.limit_k)
        judged.append((point, packs))
    return tuple(judged)


def certificate_of(
    state: SenderCheckState, readings_of: ReadingsOf, *, number: str, shop: Shop, run: int
) -> Certificate:
    """Certificate of a run that has been read.

    Raises
    ------
    BenchPointError, OhmsCheckError, TrialError, LoopError
        If a result cannot be given; says why.
    ValueError
        If the curve is still to be found out.
    """
    settings = state.started
    if settings.is_to_be_found_out:
        raise ValueError("Nothing is judged before its curve is chosen.")
    setup = bench_setup_of(state, readings_of)
    measured = measured_lines_of(state, setup, readings_of)
    setup = measured.put_into(setup)
    loop = judged_loop_of(state, setup, readings_of) if settings.course is Course.LOOP else None
    if loop is None:
        plateaus = bench_points_of(state, setup, readings_of)
        judged = [point for point, _ in plateaus]
        packs = [pack for _, some in plateaus for pack in some]
        points = tuple(
            CertifiedPoint.of(point.point, witnesses_of(point, some, settings)) for point, some in plateaus
        )
    else:
        judged, packs = list(loop.points), list(loop.packs)
        points = tuple(
            CertifiedPoint.of(point.point, witnesses_of(point, held, settings, beyond_k))
            for point, held, beyond_k in zip(loop.points, loop.held, loop.beyond_k, strict=True)
        )
    verdict = overall_verdict(point.verdict for point in points)
    coefficients, fit_words = _fit(points)
    contact = None if state.burst is None else contact_of(readings_of(state.burst))
    simulated = any(pack.simulated for pack in packs)
    certificate = Certificate(
        number=number,
        issued=datetime.now(UTC).date().isoformat(),
        measured=measured_words(packs, settings.zone),
        shop=shop.name,
        shop_address=shop.address,
        item=settings.item,
        customer=settings.customer,
        customer_contact=settings.customer_contact,
        place=settings.place,
        received=settings.received,
        verdict=verdict,
        sentence=sentence_of(points),
        rule=settings.decision_rule,
        rule_words=RULE_WORDS[settings.decision_rule],
        method=_method(settings, run),
        body=SenderBody(
            curve=settings.curve,
            curve_source=setup.curve.source,
            curve_tolerance=_tolerance(setup.curve, settings),
            points=points,
            coefficients=coefficients,
            fit_words=fit_words,
        ),
        instruments=_instruments(settings),
        conditions=_conditions(state, packs, contact, measured, loop),
        remarks=(*_remarks(judged, measured, loop), *disagreements_of(points, settings)),
        opinions=_opinions([point.point for point in judged], setup.curve, packs, contact),
        citations=_citations(state),
        simulated=simulated,
        software=software_versions(),
        item_condition=_condition(settings),
        operator=settings.operator,
        not_done=not_done(state),
        as_found=settings.as_found,
    )
    choice = settings.curve_choice
    return certificate if choice is None else with_chosen_curve(certificate, choice.words)


def contact_words(contact: Intermittence) -> str:
    """What the bursts showed, in words."""
    if contact.fault is Fault.OPEN:
        return "the circuit was open all the time"
    if contact.fault is Fault.INTERMITTENT:
        percent = 100.0 * contact.open_share
        share = f"{percent:.0f} %" if percent >= 1.0 else "under 1 %"
        opened = f", open {share} of the time" if percent else ""
        return f"an intermittent contact, {contact.jumps} jumps{opened}"
    if contact.fault is Fault.HEALTHY:
        return "a steady contact"
    return "not clear whether the contact is steady"


def _opinions(
    points: Sequence[SenderPoint],
    curve: ReferenceCurve,
    packs: Sequence[ReadingPack],
    contact: Intermittence | None,
) -> tuple[str, ...]:
    """Why the sender is as it is, by comparing explanations: an opinion, not a measurement."""
    air_c = mean_of(packs, "ambient")
    diagnosis = why_on_the_bench(
        points,
        curve,
        library=[load_curve(name) for name in curve_names()],
        air_c=ASSUMED_AIR_C if air_c is None else air_c,
        burst=contact,
    )
    return tuple(opinions_of(diagnosis, curve))


def _fit(points: Sequence[CertifiedPoint]) -> tuple[tuple[Coefficient, ...], str]:
    fit = fit_curve(
        [
            FitPoint(
                temperature_c=point.temperature_c,
                resistance_ohm=point.resistance_ohm,
                u_temperature_k=point.expanded_u_k / point.k,
                u_resistance_ohm=point.u_resistance_ohm,
            )
            for point in points
        ],
        Model.STEINHART_HART,
    )
    names = ("a", "b", "c")
    spreads = fit.std_uncertainties or {}
    coefficients = tuple(
        Coefficient(name=name, value=fit.coefficients[name], standard_u=spreads.get(name)) for name in names
    )
    words = "1/T = a + b ln(R/Ω) + c ln(R/Ω)³, T in kelvin"
    if len(points) == len(names):
        words += "; three points fix it exactly and leave nothing to test it by"
    return coefficients, words


def measured_words(packs: Sequence[ReadingPack], zone: tzinfo | None) -> str:
    """When readings were taken, by their own clock, in the time of the shop."""
    times = [pack.utc_s for pack in packs if pack.utc_s is not None]
    if not times:
        return "time unknown: the rig's clock was not synchronised"
    span = local_span(min(times), max(times), zone)
    return f"{span}, {SIMULATED_TIME}" if packs[0].simulated else span


def _tolerance(curve: ReferenceCurve, settings: SenderCheckSettings) -> str:
    if settings.limit_k is not None:
        return f"±{settings.limit_k:g} K, as asked for (the curve: {curve.tolerance})"
    return curve.tolerance


def _instruments(settings: SenderCheckSettings) -> tuple[InstrumentUsed, ...]:
    probe = settings.probe
    return (
        InstrumentUsed(
            role="reference probe",
            serial=probe["serial"],
            certificate=f"{probe['certificate']}, {probe['issuer']}",
            expanded_u=f"{probe['expanded_u_k']:g} K (k = {probe['k']:g})",
            due=str(probe.get("due", "no date set")),
        ),
        box_used(settings.decade_box),
    )


def box_used(box: Mapping[str, Any]) -> InstrumentUsed:
    """A decade box as a certificate names it."""
    certified = decade_box_of(box)
    return InstrumentUsed(
        role="decade box",
        serial=box["serial"],
        certificate=f"{box['certificate']}, {box['issuer']}",
        expanded_u=f"{certified.expanded_u_relative:.2%} + {certified.expanded_u_ohm:g} Ω "
        f"(k = {certified.k:g})",
        due=str(box.get("due", "no date set")),
    )


def _method(settings: SenderCheckSettings, run: int) -> str:
    """The version that judges is that of today's code, also where an older desk began the run."""
    is_loop = settings.course is Course.LOOP
    method, version = (LOOP_METHOD, LOOP_METHOD_VERSION) if is_loop else (METHOD, METHOD_VERSION)
    began = settings.method_version
    before = "" if began == version else f", begun under version {began}"
    return f"{method}, version {version} (run {run:04d}{before})"


def _condition(settings: SenderCheckSettings) -> str:
    if settings.course is Course.PLATEAUS and settings.method_version == "1":
        return ""
    if settings.as_left_of is None:
        return "as found"
    return f"as left; as found: certificate {settings.as_left_of['number']}"


def _citations(state: SenderCheckState) -> tuple[str, ...]:
    heated = () if state.loop_readings is None else (state.loop_readings,)
    plateaus = words_by_boot([*(window.citation for window in state.windows), *heated])
    moved = () if state.burst is None else (f"connector moved: {state.burst.words()}",)
    trials = (
        f"{TRIAL_WORDS[TRIAL_STEPS[step].trial]}, {TRIAL_STEPS[step].reading}: {cited.words()}"
        for step, cited in state.trial_windows.items()
    )
    return (*plateaus, *trials, *moved, *(f"ohms check: {cited.words()}" for cited in joined(state.box_read)))


def _conditions(
    state: SenderCheckState,
    packs: Sequence[ReadingPack],
    contact: Intermittence | None,
    measured: MeasuredLines,
    loop: JudgedLoop | None,
) -> tuple[tuple[str, str], ...]:
    settings = state.started
    air_c = mean_of(packs, "ambient")
    return (
        ("immersion", IMMERSIONS[state.immersion].words),
        ("bath", f"stirred water, {_evenness(settings, measured)}"),
        (
            "air",
            f"not read, {ASSUMED_AIR_C:g} °C assumed" if air_c is None else f"{air_c:.0f} °C beside the bath",
        ),
        (
            "ohms check",
            f"{len(state.plan)} settings of the decade box, "
            + (
                "before this run" if settings.ohms_check is None else settings.ohms_check.words(settings.zone)
            ),
        ),
        ("station", settings.station),
        ("operator", settings.operator or "not given"),
        *witness_words(settings, packs),
        *(() if loop is None else (("heating", loop.words),)),
        *((TRIAL_WORDS[trial], words) for trial, words in measured.words.items()),
        *((TRIAL_WORDS[Trial(trial)], f"left out: {why}") for trial, why in state.trials_left_out.items()),
        *_declared(state, contact),
    )


def _evenness(settings: SenderCheckSettings, measured: MeasuredLines) -> str:
    if measured.gradient is None:
        return f"probe and sender within ±{settings.gradient_half_width_k:g} K (declared)"
    seen = measured.gradient
    half_width_k = seen.half_width_k(seen.seen_at_c, seen.air_c)
    corrected = ", corrected for" if seen.is_found else ""
    return f"probe and sender within ±{half_width_k:.3f} K at {seen.seen_at_c:.1f} °C (swapped{corrected})"


def _declared(state: SenderCheckState, contact: Intermittence | None) -> tuple[tuple[str, str], ...]:
    """What a person said of job and sender, and what the bursts showed; nothing that was not."""
    settings = state.started
    set_up = [SET_UP_STEPS[step].declares for step in state.answers]
    said = (
        ("job", settings.job),
        ("wiring", settings.wiring),
        ("connector", settings.connector_notes),
        ("set up", "; ".join(words for words in set_up if words)),
        ("connector moved", "" if contact is None else f"{contact_words(contact)} ({BURSTS} s at 50 Hz)"),
    )
    return tuple((name, words) for name, words in said if words)


def _remarks(
    judged: Sequence[BenchPoint], measured: MeasuredLines, loop: JudgedLoop | None
) -> tuple[str, ...]:
    remarks = [
        "The result is for the sender's body at one temperature and at zero power (IEC 60539-1); "
        + _origin_of_spans(measured),
        "Witness and infrared are as bought and stand here for agreement only; they enter no result.",
    ]
    if loop is not None:
        remarks.append(
            "The points are read off a curve fitted to the whole heating together with the lags of sender "
            "and probe; the other thermometers are shown as they stood beside the probe at the end of the "
            "nearest rest."
        )
    remarks.extend(dict.fromkeys(remark for point in judged for remark in point.point.remarks))
    return tuple(remarks)


def _origin_of_spans(measured: MeasuredLines) -> str:
    """Which of stem, dissipation and gradient were measured on this sender, and which are assumed."""
    found = {
        "stem share": (measured.stem, Trial.DEPTHS),
        "dissipation": (measured.zero_power, Trial.CURRENTS),
        "gradient": (measured.gradient, Trial.PLACES),
    }
    known = [name for name, (value, _) in found.items() if value is not None]
    agreed = [name for name, (value, trial) in found.items() if value is None and trial in measured.words]
    assumed = [
        name for name, (value, trial) in found.items() if value is None and trial not in measured.words
    ]
    if not known and not agreed:
        return "dissipation and stem shares are assumed spans, not measured on this sender."
    parts = (
        (known, "measured on this sender at the hottest temperature"),
        (agreed, "assumed, in agreement with what was read on this sender"),
        (assumed, "assumed and not measured"),
    )
    return "; ".join(f"{_listed(names)} {words}" for names, words in parts if names) + "."


def _listed(names: Sequence[str]) -> str:
    return " and ".join(", ".join(names).rsplit(", ", 1))
