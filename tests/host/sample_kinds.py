"""Invented certificates of every kind but the sender's: an invented shop, simulated instruments."""

from calibration.conformity import overall_verdict
from calibration.curves import load_curve
from calibration.infrared.emissivity import Shot
from calibration.infrared.infrared_point import IMMERSED_CAVITY, PAINTED_FACE, Target, judge_shots
from calibration.infrared.planck import EIGHT_TO_FOURTEEN_UM, RIG_SENSOR_BAND
from calibration.reference_probe import ReferenceProbe
from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.resistance.ohms_check import BoxReading, correction_from_box, settings_for
from calibration.resistance.three_tap import ratio_count
from calibration.station_round import StatedValue
from calibration.thermistor.steinhart_hart import SteinhartHart
from calibration.uncertainty.line import normal, rectangular, student
from calibration.vehicle.in_place import InPlaceReading, Thermostat, Where, compare_in_place
from calibration.vehicle.shown_value import Display, Place, ShownValue
from calibration.vehicle.substitution import expected_c, separate
from host.certificates.bodies.in_place import InPlaceBody, RecordedFinding, RecordedReading, gaps_of
from host.certificates.bodies.infrared import CertifiedShots, InfraredBody
from host.certificates.bodies.ohms import CertifiedOhms, OhmsBody, channel_points
from host.certificates.bodies.reference_probe import CertifiedProbePoint, ReferenceProbeBody
from host.certificates.bodies.station_round import RoundComparison, StationRoundBody
from host.certificates.certificate import Body, Certificate, Coefficient, Witness
from host.certificates.kind import Kind
from host.procedures.infrared.infrared_result import sentence_of as infrared_sentence
from host.procedures.infrared.infrared_result import witnesses_of
from host.procedures.ohms.channel_certificate import sentence_of as channel_sentence
from host.procedures.ohms.meter_check import Subject
from host.procedures.ohms.meter_check import sentence_of as meter_sentence
from host.procedures.references.probe_check import sentence_of as probe_sentence
from host.procedures.rounds.station_round_result import sentence_of as round_sentence
from host.procedures.vehicle.in_place_result import said_of
from host.procedures.vehicle.in_place_result import witnesses_of as in_place_witnesses

BOX = DecadeBoxCertificate(
    residual_ohm=0.4,
    step_ohm={weight * decade: float(weight * decade) * 1.0001 for decade in (1, 10, 100, 1000)
              for weight in (1, 2, 4, 8)},
    expanded_u_relative=1e-4,
    expanded_u_ohm=0.03,
    k=2.0,
)  # fmt: skip
#: What the desk itself says of such results.
SENTENCES = {
    Kind.HANDHELD_INFRARED: lambda body: infrared_sentence(body.points),
    Kind.RIG_INFRARED: lambda body: infrared_sentence(body.points, what="infrared sensor of the bench"),
    Kind.REFERENCE_PROBE: lambda body: probe_sentence(body.points),
    Kind.OHMS_CHANNEL: lambda body: channel_sentence(body.points, station="station-3"),
    Kind.DECADE_BOX: lambda body: meter_sentence(body.points, subject=Subject.BOX),
    Kind.RESISTANCE_METER: lambda body: meter_sentence(body.points, subject=Subject.METER),
    Kind.STATION_ROUND: lambda body: round_sentence(body.points[0]),
    Kind.IN_PLACE: lambda body: body.words,
}


def certificate_of_kind(kind: Kind, sample: Certificate, **changed: object) -> Certificate:
    """A certificate of a kind with the head of the sample, as far as it applies."""
    body = _BODIES[kind]()
    judged = [one for point in body.points for one in getattr(point, "stations", (point,))]
    verdicts = [one.verdict for one in judged if getattr(one, "verdict", None) is not None]
    head: dict[str, object] = {
        name: getattr(sample, name)
        for name in (
            "number", "issued", "measured", "shop", "shop_address", "customer", "instruments", "conditions",
            "remarks", "citations", "simulated", "software", "item_condition",
        )
    }  # fmt: skip
    head |= {
        "item": f"Invented {kind.value.replace('_', ' ')}, tag PT-7",
        "sentence": SENTENCES[kind](body),
        "method": f"Check of {kind.item_words}, method version 1",
        "body": body,
        "verdict": overall_verdict(verdicts) if verdicts else None,
        "rule": sample.rule if verdicts and kind is not Kind.STATION_ROUND else None,
        "rule_words": sample.rule_words if verdicts and kind is not Kind.STATION_ROUND else "",
        "not_done": ("Nothing was measured beyond what the tables name.",),
    }
    return Certificate(**(head | changed))  # type: ignore[arg-type]


def _infrared(kind: Kind) -> Body:
    handheld = kind is Kind.HANDHELD_INFRARED
    target_kind, law = (
        (PAINTED_FACE, EIGHT_TO_FOURTEEN_UM) if handheld else (IMMERSED_CAVITY, RIG_SENSOR_BAND)
    )
    points = []
    for probe_c, shift_k in ((40.0, 0.3), (65.0, 0.5), (90.0, 0.8)):
        target = Target(kind=target_kind, probe_c=probe_c, u_probe_k=0.04, air_c=23.0)
        shot = Shot(
            set_emissivity=0.95 if handheld else 1.0, surroundings_c=23.0, surroundings_half_width_k=3.0
        )
        shots_c = tuple(target.face_c + shift_k + step for step in (-0.1, 0.0, 0.1))
        judged = judge_shots(shots_c, target=target, shot=shot, law=law, resolution_k=0.1)
        points.append(
            CertifiedShots.of(
                judged,
                shots_c=shots_c,
                limit_k=2.5 if handheld else None,
                witnesses=witnesses_of(judged),
            )
        )
    return InfraredBody(
        kind=kind,
        target=target_kind.words,
        band="8 to 14 µm" if handheld else "5.5 to 14 µm",
        spot="spot of 16 mm at 150 mm, target 100 mm across",
        emissivity_words=f"set to {0.95 if handheld else 1.0:g}; the target has "
        f"{target_kind.surface.emissivity:g} ± {target_kind.surface.half_width:g}",
        points=tuple(points),
        serial="IR-0417" if handheld else "the infrared sensor of station-3",
        last_digit="0.1 K",
        distance_to_spot="12 : 1, smallest spot 16 mm" if handheld else "view of 10°",
        emissivity_setting="0.95, can be set" if handheld else "1",
        accuracy="±2.5 K or ±2 % of the reading" if handheld else "",
        limit_words="±2.5 K, as asked for"
        if handheld
        else "none: its maker states no accuracy, and none was asked for",
    )


def _probe() -> Body:
    curve = SteinhartHart(a=1.129241e-3, b=2.341077e-4, c=8.775468e-8)
    probe = ReferenceProbe(curve=curve, expanded_u_k=0.05, k=2.0, valid_from_c=0.0, valid_to_c=100.0)
    points = tuple(
        CertifiedProbePoint.of(
            probe,
            where=where,
            reference_c=reference_c,
            resistance_ohm=curve.resistance_ohm(reference_c + shift_k),
            u_resistance_ohm=2e-4 * curve.resistance_ohm(reference_c),
            lines=(
                normal(where, reference_c, "°C", u_k, -1.0),
                rectangular("self-heating of the probe", 0.0, "K", 0.005, 1.0),
                student("repeatability", 0.0, "K", 0.004, 1.0, 9.0),
            ),
            limit_k=0.1,
            witnesses=(
                Witness(name=where, temperature_c=reference_c, expanded_u_k=2.0 * u_k),
                Witness(name="probe shows", temperature_c=reference_c + shift_k, expanded_u_k=0.03),
            ),
        )
        for where, reference_c, shift_k, u_k in (
            ("ice point", 0.002, 0.011, 0.005),
            ("boiling water", 99.271, -0.034, 0.02),
        )
    )
    return ReferenceProbeBody(
        coefficients=(
            Coefficient(name="a", value=curve.a, standard_u=None),
            Coefficient(name="b", value=curve.b, standard_u=None),
            Coefficient(name="c", value=curve.c, standard_u=None),
        ),
        coefficients_source="invented certificate 2207/31, 0 to 100 °C, U = 0.050 K (k = 2)",
        points=points,
    )


def _channel() -> Body:
    points, words = [], []
    for reference_ohm in (750.0, 2700.0):
        readings = [
            BoxReading(setting_ohm=setting, count=_count(BOX.true_ohm(setting), reference_ohm))
            for setting in settings_for(reference_ohm, BOX)
        ]
        correction = correction_from_box(readings, reference_ohm=reference_ohm, certificate=BOX)
        points.extend(channel_points(readings, correction, BOX, limit_relative=0.001))
        c0, c1, c2 = correction.coefficients
        words.append(f"{reference_ohm:g} Ω range: {c0:.3f} {c1:+.3f} z {c2:+.3f} z² counts, z = 2x - 1")
    return OhmsBody(kind=Kind.OHMS_CHANNEL, correction_words=tuple(words), points=tuple(points))


def _count(true_ohm: float, reference_ohm: float) -> float:
    count = ratio_count(true_ohm, reference_ohm * 1.0008)
    return count + 0.15 * (-1) ** round(true_ohm)


def _box() -> Body:
    points = tuple(
        CertifiedOhms.of(
            range_words=f"{decade} Ω decade",
            setting_ohm=float(weight * decade),
            true_ohm=BOX.true_ohm(weight * decade),
            shown_ohm=float(weight * decade),
            lines=(
                normal("resistance meter", weight * decade, "Ω", 2e-5 * weight * decade, -1.0),
                rectangular("leads", 0.0, "Ω", 0.01, 1.0),
                student("repeatability of the contacts", 0.0, "Ω", 0.006, 1.0, 9.0),
            ),
            limit_ohm=0.5 + 0.001 * weight * decade,
        )
        for decade in (1, 10, 100, 1000)
        for weight in (1, 2, 4, 8)
    )
    return OhmsBody(kind=Kind.DECADE_BOX, correction_words=(), points=points)


def _meter() -> Body:
    points = tuple(
        CertifiedOhms.of(
            range_words=f"{dial} Ω decade",
            setting_ohm=float(dial),
            true_ohm=BOX.true_ohm(dial),
            shown_ohm=BOX.true_ohm(dial) * 1.0006,
            lines=(
                normal("decade box, with the value", dial, "Ω", 5e-5 * dial, -1.0),
                rectangular("last digit of the meter", dial, "Ω", 0.05, 1.0),
                rectangular("clips and dials, assumed", 0.0, "Ω", 0.02, 1.0),
            ),
            limit_ohm=0.3 + 0.002 * dial,
            k_per_ohm=-25.0 / dial,
        )
        for dial in (100, 200, 400, 800, 1000, 2000, 4000, 8000)
    )
    return OhmsBody(kind=Kind.RESISTANCE_METER, correction_words=(), points=points)


def _round() -> Body:
    results = {
        "station-1": StatedValue(value=60.03, expanded_u=0.11),
        "station-2": StatedValue(value=59.96, expanded_u=0.12, k=2.06),
        "station-3": StatedValue(value=60.01, expanded_u=0.10),
        "station-4": StatedValue(value=60.44, expanded_u=0.13),
    }
    return StationRoundBody(
        artefact="sender PT-300 in its boot, carried in a flask, measured at each station on 2031-05-17",
        points=(
            RoundComparison.of(
                results,
                at="60 °C",
                quantity="indicated temperature",
                unit="°C",
                reference=StatedValue(value=60.00, expanded_u=0.08),
                reference_words="measured on the reference bench before and after the round",
            ),
        ),
        next_action="Look at station-4: ohms check and probe check, then the artefact there once more.",
    )


def _in_place() -> Body:
    readings = (
        InPlaceReading(where=Where.SCAN_DATA, temperature_c=91.0, expanded_u_k=2.2),
        InPlaceReading(where=Where.GAUGE, temperature_c=70.0, expanded_u_k=3.0),
        InPlaceReading(where=Where.HEAD, temperature_c=88.4, expanded_u_k=1.8),
    )
    comparison = compare_in_place(readings, thermostat=Thermostat.FULLY_OPEN)
    curve = load_curve("ntc-2k5-20c")
    findings = separate(
        curve,
        [
            ShownValue(
                place=Place.AT_COMPUTER,
                display=Display.SCAN_DATA,
                shown_c=float(round(expected_c(curve, ohm))),
                u_shown_k=0.29,
                resistance_ohm=ohm,
                u_resistance_ohm=0.3,
            )
            for ohm in (187.0, 243.0, 436.0)
        ],
    )
    words, next_action = said_of(comparison, findings)
    return InPlaceBody(
        curve="ntc-2k5-20c",
        thermostat=Thermostat.FULLY_OPEN.value,
        points=tuple(
            RecordedReading(
                where=one.where.value,
                temperature_c=one.temperature_c,
                expanded_u_k=one.expanded_u_k,
                words="as shown",
            )
            for one in readings
        ),
        gaps=gaps_of(comparison),
        findings=tuple(RecordedFinding.of(one) for one in findings),
        witnesses=in_place_witnesses(readings, Thermostat.FULLY_OPEN),
        words=words,
        next_action=next_action,
    )


_BODIES = {
    Kind.HANDHELD_INFRARED: lambda: _infrared(Kind.HANDHELD_INFRARED),
    Kind.RIG_INFRARED: lambda: _infrared(Kind.RIG_INFRARED),
    Kind.REFERENCE_PROBE: _probe,
    Kind.OHMS_CHANNEL: _channel,
    Kind.DECADE_BOX: _box,
    Kind.RESISTANCE_METER: _meter,
    Kind.STATION_ROUND: _round,
    Kind.IN_PLACE: _in_place,
}
