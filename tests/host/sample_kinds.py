"""Invented certificates of every kind but the sender's: an invented shop, simulated instruments."""

from calibration.conformity import overall_verdict
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
from calibration.vehicle.in_place import InPlaceReading, Thermostat, Where, claim_of, compare_in_place
from host.certificates.bodies.in_place import InPlaceBody, RecordedFinding, RecordedReading, gaps_of
from host.certificates.bodies.infrared import CertifiedShots, InfraredBody
from host.certificates.bodies.ohms import CertifiedOhms, OhmsBody, channel_points
from host.certificates.bodies.reference_probe import CertifiedProbePoint, ReferenceProbeBody
from host.certificates.bodies.station_round import RoundComparison, StationRoundBody
from host.certificates.certificate import Body, Certificate, Coefficient, Witness
from host.certificates.kind import Kind

BOX = DecadeBoxCertificate(
    residual_ohm=0.4,
    step_ohm={weight * decade: float(weight * decade) * 1.0001 for decade in (1, 10, 100, 1000)
              for weight in (1, 2, 4, 8)},
    expanded_u_relative=1e-4,
    expanded_u_ohm=0.03,
    k=2.0,
)  # fmt: skip
SENTENCES = {
    Kind.HANDHELD_INFRARED: "This thermometer reads 0.8 °C (1.4 °F) too high, as its maker allows.",
    Kind.RIG_INFRARED: "The infrared sensor of the bench reads true within what can be told.",
    Kind.REFERENCE_PROBE: "The probe still says what its certificate says, at ice and in boiling water.",
    Kind.OHMS_CHANNEL: "The bench reads resistances true after its correction.",
    Kind.DECADE_BOX: "The decade box gives what is written on it, within its limits.",
    Kind.RESISTANCE_METER: "The meter reads true within its maker's limits.",
    Kind.STATION_ROUND: "Three of four benches agree; station-4 does not.",
    Kind.IN_PLACE: "The dash gauge reads too low for all the others.",
}  # fmt: skip


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
        "sentence": SENTENCES[kind],
        "method": f"Check of {kind.item_words}, method version 1",
        "body": body,
        "verdict": overall_verdict(verdicts) if verdicts else None,
        "rule": sample.rule if verdicts and kind is not Kind.STATION_ROUND else None,
        "rule_words": sample.rule_words if verdicts and kind is not Kind.STATION_ROUND else "",
        "not_done": ("Nothing was measured below 40 °C and above 95 °C.",),
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
                witnesses=(
                    Witness(name="target", temperature_c=judged.expected_c, expanded_u_k=0.4),
                    Witness(
                        name="thermometer",
                        temperature_c=judged.shown_c,
                        expanded_u_k=judged.expanded_u_k,
                    ),
                ),
            )
        )
    return InfraredBody(
        kind=kind,
        target=target_kind.words,
        band="8 to 14 µm" if handheld else "5.5 to 14 µm",
        spot="spot of 16 mm at 150 mm, target 100 mm across",
        emissivity_words="set to 0.95; the target has 0.96 ± 0.02",
        points=tuple(points),
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
        findings=(
            RecordedFinding(
                part="computer",
                size_k=0.4,
                expanded_u_k=0.7,
                allowance_k=1.5,
                verdict=overall_verdict([]),
                words="The computer shows 0.4 K more than the box says.",
            ),
        ),
        witnesses=tuple(
            Witness(
                name=one.where.value,
                temperature_c=0.5 * (claim.least_c + claim.most_c),
                expanded_u_k=0.5 * (claim.most_c - claim.least_c) + claim.expanded_u_k,
            )
            for one in readings
            for claim in (claim_of(one, Thermostat.FULLY_OPEN),)
        ),
        words=comparison.words,
        next_action=comparison.next_action,
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
