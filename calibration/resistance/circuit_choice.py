"""Which reference resistors a bench should have: ranked by what is left after the check, on a given curve."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from calibration.curves import ReferenceCurve
from calibration.errors import CalibrationError
from calibration.resistance.circuit import Circuit
from calibration.resistance.error_model import Surroundings, resistance_errors
from calibration.resistance.range_choice import MeasuringRange, best_range

#: Ohms are derived between these shares of the ratio x = R/(R + R_ref).
REPORTABLE_X = (0.15, 0.85)


class CircuitChoiceError(CalibrationError):
    """Ranges that do not reach over the temperatures asked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitScore:
    """A set of ranges and how well it reads.

    Attributes
    ----------
    circuits : tuple[Circuit, ...]
        Ranges, the largest reference first.
    worst_p95_k : float
        What 95 of 100 benches stay under after the check, at the temperature where that is most. [K]
    worst_at_c : float
        That temperature. [°C]
    overall_p95_k : float
        Root mean square of it over all temperatures; parts sets that are equal at the worst one. [K]
    peak_ma : float
        Largest current through the sender at these temperatures. [mA]
    """

    circuits: tuple[Circuit, ...]
    worst_p95_k: float
    worst_at_c: float
    overall_p95_k: float
    peak_ma: float


def reported_by(circuit: Circuit) -> MeasuringRange:
    """A circuit with the span that `REPORTABLE_X` gives it."""
    low_x, high_x = REPORTABLE_X
    return MeasuringRange(
        circuit=circuit,
        lowest_ohm=circuit.reference_ohm * low_x / (1.0 - low_x),
        highest_ohm=circuit.reference_ohm * high_x / (1.0 - high_x),
    )


def held_to_current(circuit: Circuit, *, limit_ma: float) -> Circuit:
    """The circuit with as much more ballast as keeps its whole span under a current."""
    lowest_ohm = reported_by(circuit).lowest_ohm
    missing_ohm = 1000.0 * circuit.source_v / limit_ma - (circuit.excitation.series_ohm + lowest_ohm)
    return replace(circuit, ballast_ohm=circuit.ballast_ohm + max(0.0, missing_ohm))


def rank_circuits(
    candidates: Sequence[Circuit],
    *,
    curve: ReferenceCurve,
    temperatures_c: Sequence[float],
    ranges: int,
    benches: int,
    seed: int,
    surroundings: Surroundings | None = None,
) -> tuple[CircuitScore, ...]:
    """Sets of ranges out of candidates, the best first.

    Parameters
    ----------
    candidates : sequence of Circuit
    curve : ReferenceCurve
        Its slope turns ohms into kelvin.
    temperatures_c : sequence of float
        Where the bench is to read. [°C]
    ranges : int
        How many ranges a channel has.
    benches, seed : int
        Of the Monte Carlo for each candidate.
    surroundings : Surroundings, optional

    Raises
    ------
    CircuitChoiceError
        If no set reaches over the temperatures.
    """
    ohms = {t: curve.resistance_ohm(t) for t in temperatures_c}
    p95_k: dict[tuple[Circuit, float], float] = {}
    for circuit in candidates:
        reached = [t for t, ohm in ohms.items() if reported_by(circuit).reports(ohm)]
        found = resistance_errors(
            circuit, [ohms[t] for t in reached], benches=benches, seed=seed, surroundings=surroundings
        )
        for t, error in zip(reached, found, strict=True):
            p95_k[circuit, t] = error.in_kelvin(curve)[1].p95
    scores = [
        score
        for some in itertools.combinations(candidates, ranges)
        if (score := _score(some, ohms, p95_k)) is not None
    ]
    if not scores:
        raise CircuitChoiceError(
            f"No {ranges} of these ranges reach from {min(temperatures_c):g} to {max(temperatures_c):g} °C "
            f"on {curve.name}. Add candidates, or a range."
        )
    return tuple(sorted(scores, key=lambda score: (score.worst_p95_k, score.overall_p95_k)))


def _score(
    some: tuple[Circuit, ...], ohms: dict[float, float], p95_k: dict[tuple[Circuit, float], float]
) -> CircuitScore | None:
    reported = [reported_by(circuit) for circuit in some]
    sizes_k, peak_ma = {}, 0.0
    for temperature_c, ohm in ohms.items():
        if not any(one.reports(ohm) for one in reported):
            return None
        used = best_range(reported, ohm).circuit
        peak_ma = max(peak_ma, used.current_ma(ohm))
        sizes_k[temperature_c] = p95_k[used, temperature_c]
    largest_first = tuple(sorted(some, key=lambda circuit: -circuit.reference_ohm))
    worst_at_c = max(sizes_k, key=lambda temperature_c: sizes_k[temperature_c])
    return CircuitScore(
        circuits=largest_first,
        worst_p95_k=sizes_k[worst_at_c],
        worst_at_c=worst_at_c,
        overall_p95_k=math.sqrt(math.fsum(size**2 for size in sizes_k.values()) / len(sizes_k)),
        peak_ma=peak_ma,
    )
