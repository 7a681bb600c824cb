"""An invented certificate for tests: an invented shop, a simulated sender, honest budgets."""

import dataclasses
import math

from calibration.conformity import DecisionRule, decide, overall_verdict
from calibration.uncertainty.budget import Budget, BudgetLine, Distribution, combine, rectangular_u
from host.certificates.bodies.sender import SenderBody
from host.certificates.certificate import (
    Certificate,
    CertifiedPoint,
    Coefficient,
    InstrumentUsed,
    Witness,
)
from host.verdict_words import sentence_of

R20_OHM = 2500.0
BETA_K = 3500.0


def sample_certificate(
    *,
    temperatures_c: tuple[float, ...] = (25.0, 60.0, 90.0),
    series_ohm: float = 0.0,
    rule: DecisionRule = DecisionRule.GUARDED,
    simulated: bool = True,
    **changed: object,
) -> Certificate:
    """A sender check at the given temperatures; a series resistance makes the sender read low."""
    points = tuple(
        sample_point(temperature, series_ohm=series_ohm, rule=rule) for temperature in temperatures_c
    )
    verdict = overall_verdict(point.verdict for point in points)
    fields: dict[str, object] = {
        "number": "PTW-0042",
        "issued": "2031-05-17",
        "measured": "2031-05-17, 09:12 to 10:03 UTC",
        "shop": "Plover & Tansy Motor Works",
        "shop_address": "3 Kiln Yard, Nether Wallop Bridge",
        "item": "Coolant temperature sender, two-wire, tag PT-118",
        "customer": "Mrs A. Fennimore, job 7731",
        "verdict": verdict,
        "sentence": sentence_of(points),
        "rule": rule,
        "rule_words": (
            "Guarded acceptance, guard band equal to the expanded uncertainty (ILAC-G8:09/2019, 4.2.2, "
            "w = U). In tolerance where |error| + U does not exceed the limit; out of tolerance where "
            "|error| - U exceeds it; otherwise not decided. For a normal distribution the probability that "
            "an item stated to be in or out of tolerance is the other is at most 2.5 %."
        ),
        "method": "Sender check by plateaus, method version 1",
        "curve": "ntc-2k5-20c",
        "curve_source": "Invented table, 2.5 kΩ at 20 °C, sheet of 2019, page 2",
        "curve_tolerance": "±5 % of R at 20 °C, ±2.5 % at 100 °C",
        "points": points,
        "coefficients": (
            Coefficient(name="A", value=1.4050719e-3, standard_u=2.4e-6),
            Coefficient(name="B", value=2.3691234e-4, standard_u=3.8e-7),
            Coefficient(name="C", value=1.0183746e-7, standard_u=2.1e-9),
        ),
        "fit_words": (
            "Steinhart-Hart, 1/T = A + B ln R + C (ln R)³, weighted; three points leave no chi-squared, "
            "so nothing is said of how well the model holds between them. Valid from 25 °C to 90 °C."
        ),
        "instruments": (
            InstrumentUsed(
                role="contact probe",
                serial="SIM-P1",
                certificate="invented 2207/31",
                expanded_u="0.050 K",
                due="2032-02-01",
            ),
            InstrumentUsed(
                role="decade box",
                serial="SIM-D1",
                certificate="invented 1190/30",
                expanded_u="0.020 %",
                due="2031-11-20",
            ),
            InstrumentUsed(
                role="1-wire witness",
                serial="28-00000abc1234",
                certificate="three-point check 2031-05-02",
                expanded_u="0.40 K",
                due="not applicable",
            ),
        ),
        "conditions": (
            ("Room", "22.4 °C, 987 hPa"),
            ("Bath", "stirred water, 1.5 L, open"),
            ("Immersion", "above the hex, boot fitted, tip 25 mm from the wall"),
            ("Excitation", "at most 0.95 mA, duty 20 %"),
        ),
        "remarks": (
            "Ohms check passed with seven settings before the run.",
            "The 1-wire witness is shown and was not averaged into the reference.",
        ),
        "citations": ("station-3, boot 5f0c, readings 1204 to 4377",),
        "simulated": simulated,
        "software": (("ohmbath", "0.1.0"), ("GTC", "2.0.0"), ("numpy", "2.4.6"), ("scipy", "1.16.0")),
        "item_condition": "as found, terminals dull",
    }
    return of_fields(fields | changed)


def of_fields(fields: dict[str, object]) -> Certificate:
    """A sender's certificate whose head and results are given together."""
    in_body = {field.name for field in dataclasses.fields(SenderBody)}
    body = SenderBody(**{name: value for name, value in fields.items() if name in in_body})  # type: ignore[arg-type]
    head = {name: value for name, value in fields.items() if name not in in_body}
    return Certificate(**head, body=body)  # type: ignore[arg-type]


def sample_point(
    temperature_c: float, *, series_ohm: float = 0.0, rule: DecisionRule = DecisionRule.GUARDED
) -> CertifiedPoint:
    """One temperature of a beta sender with a resistance in series."""
    resistance_ohm = _resistance(temperature_c) * 1.004 + series_ohm
    indicated_c = _temperature(resistance_ohm)
    error_k = indicated_c - temperature_c
    kelvin_per_ohm = -((temperature_c + 273.15) ** 2) / (BETA_K * resistance_ohm)
    budget = sample_budget(temperature_c, error_k, resistance_ohm, kelvin_per_ohm)
    relative = 0.05 if temperature_c <= 25.0 else 0.025 + 0.025 * (100.0 - temperature_c) / 75.0
    step_k = abs(kelvin_per_ohm) * resistance_ohm * relative
    limits_k = (-step_k * 0.97, step_k * 1.03)
    limit_k = limits_k[1] if error_k >= 0 else -limits_k[0]
    return CertifiedPoint(
        temperature_c=temperature_c,
        resistance_ohm=resistance_ohm,
        u_resistance_ohm=3e-4 * resistance_ohm,
        indicated_c=indicated_c,
        error_k=error_k,
        expanded_u_k=budget.expanded_u,
        k=budget.k,
        limit_k=limit_k,
        verdict=decide(error_k=error_k, expanded_u_k=budget.expanded_u, limit_k=limit_k, rule=rule),
        budget=budget,
        witnesses=(
            Witness(name="contact probe", temperature_c=temperature_c, expanded_u_k=0.08),
            Witness(name="1-wire witness", temperature_c=temperature_c - 0.14, expanded_u_k=0.45),
            Witness(name="sender shows", temperature_c=indicated_c, expanded_u_k=budget.expanded_u),
        ),
        limits_k=limits_k,
    )


def sample_budget(
    temperature_c: float, error_k: float, resistance_ohm: float, kelvin_per_ohm: float
) -> Budget:
    """A budget with the lines of the bench."""
    normal, flat, student = Distribution.NORMAL, Distribution.RECTANGULAR, Distribution.STUDENT
    stem_k = rectangular_u(0.002 * (temperature_c - 22.0))
    lines = (
        _line("contact probe, certificate", temperature_c, "°C", 0.025, normal, -1.0),
        _line("contact probe, drift since", 0.0, "K", rectangular_u(0.02), flat, -1.0),
        _line("gradient between probe and sender", 0.0, "K", rectangular_u(0.04), flat, 1.0),
        _line("stem conduction of the sender", 0.0, "K", max(stem_k, 0.001), flat, 1.0),
        _line("ohms channel after the ohms check", resistance_ohm, "Ω", 2.5e-4 * resistance_ohm, normal,
              kelvin_per_ohm, 18.0),
        _line("self-heating correction", -0.012, "K", 0.006, normal, 1.0),
        _line("repeatability of the plateau", 0.0, "K", 0.011, student, 1.0, 11.0),
        _line("reference curve, interpolation", 0.0, "K", rectangular_u(0.01), flat, 1.0),
    )  # fmt: skip
    return combine(estimate=error_k, unit="K", lines=lines)


def _line(
    quantity: str,
    estimate: float,
    unit: str,
    standard_u: float,
    distribution: Distribution,
    sensitivity: float,
    degrees_of_freedom: float = math.inf,
) -> BudgetLine:
    return BudgetLine(
        quantity=quantity,
        estimate=estimate,
        unit=unit,
        standard_u=standard_u,
        distribution=distribution,
        sensitivity=sensitivity,
        degrees_of_freedom=degrees_of_freedom,
    )


def _resistance(temperature_c: float) -> float:
    return R20_OHM * math.exp(BETA_K * (1.0 / (temperature_c + 273.15) - 1.0 / 293.15))


def _temperature(resistance_ohm: float) -> float:
    return 1.0 / (1.0 / 293.15 + math.log(resistance_ohm / R20_OHM) / BETA_K) - 273.15
