"""What the resistance channel gets wrong, and whether another circuit would do better."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from calibration.curves import ReferenceCurve, load_curve
from calibration.resistance.circuit import Circuit
from calibration.resistance.circuit_choice import CircuitScore, held_to_current, rank_circuits
from calibration.resistance.converter import B_GRADE, C_GRADE
from calibration.resistance.error_model import Spread, Surroundings, resistance_errors
from host.benchmarks.report import BenchmarkResult, FigureOfMerit, Progress

#: The sender's ranges as hardware/wiring.toml has them, by reference resistor; a test holds the two together.
WIRED: Mapping[float, Circuit] = {
    2700.0: Circuit(source_v=1.0, reference_ohm=2700.0, ballast_ohm=51.0, lift_ohm=51.0),
    750.0: Circuit(source_v=1.0, reference_ohm=750.0, ballast_ohm=68.0, lift_ohm=51.0),
    68.0: Circuit(source_v=1.0, reference_ohm=68.0, ballast_ohm=33.0, lift_ohm=51.0 * 93.1 / (51.0 + 93.1)),
}

SENDER, GAUGE = "ntc-2k5-20c", "ntc-160-60c"
GAUGE_OHM = 30.0
#: More ballast for a gauge sender that allows no more than 1 mA. [Ω]
SPARED_OHM = 836.0

BENCHES, QUICK_BENCHES = 2000, 40
RANKED_BENCHES, QUICK_RANKED_BENCHES = 600, 20
REFERENCES_OHM = (330.0, 470.0, 560.0, 680.0, 750.0, 1000.0, 1500.0, 1800.0, 2200.0, 2700.0, 3300.0, 3900.0)
VOLTS = (0.5, 1.0, 2.0, 3.3)
RANKED_C = (5.0, 15.0, 25.0, 35.0, 45.0, 55.0, 65.0, 75.0, 85.0, 97.0)

GOAL_P95_K, GOAL_RATIO = 0.05, 1.10

_BOX = Surroundings(box_relative_u=5e-5, box_fixed_u_ohm=0.015)
_ROUGH = replace(B_GRADE, roughness=4.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Case:
    """One line of the table."""

    words: str
    circuit: Circuit
    curve: ReferenceCurve
    resistance_ohm: float


class CircuitBenchmark:
    """The benchmark of that name."""

    name = "circuit"

    def run(self, *, seed: int, quick: bool, progress: Progress) -> BenchmarkResult:
        """Draw benches, read known resistances, rank what could have been built."""
        benches = QUICK_BENCHES if quick else BENCHES
        cases = _cases()
        total = len(cases) + len(VOLTS)
        rows, worst_k = [], 0.0
        for done, case in enumerate(cases):
            progress(done, total, case.words)
            before, after = _errors(case, benches, seed)
            if case.curve.name == SENDER:
                worst_k = max(worst_k, after.p95)
            rows.append(_row(case, before, after, _variants(case, benches, seed)))
        ranked = {}
        for done, volts in enumerate(VOLTS, start=len(cases)):
            progress(done, total, f"circuits at {volts:g} V and 1 mA")
            ranked[volts] = _ranked(volts, QUICK_RANKED_BENCHES if quick else RANKED_BENCHES, seed)
        progress(total, total, "done")
        return _result(rows, worst_k, ranked, benches, seed)


benchmark = CircuitBenchmark()


def _cases() -> list[_Case]:
    sender, gauge = load_curve(SENDER), load_curve(GAUGE)
    found = [
        _Case(
            words=f"{at_c:g} °C, {reference_ohm:g} Ω range",
            circuit=WIRED[reference_ohm],
            curve=sender,
            resistance_ohm=sender.resistance_ohm(at_c),
        )
        for reference_ohm, at_c in ((2700.0, 25.0), (750.0, 60.0), (750.0, 97.0))
    ]
    wired = WIRED[68.0]
    spared = replace(wired, ballast_ohm=wired.ballast_ohm + SPARED_OHM)
    for circuit in (wired, spared):
        words = f"gauge sender, 30 Ω at {circuit.current_ma(GAUGE_OHM):.1f} mA"
        found.append(_Case(words=words, circuit=circuit, curve=gauge, resistance_ohm=GAUGE_OHM))
    return found


def _errors(
    case: _Case, benches: int, seed: int, surroundings: Surroundings | None = None
) -> tuple[Spread, Spread]:
    (found,) = resistance_errors(
        case.circuit, [case.resistance_ohm], benches=benches, seed=seed, surroundings=surroundings
    )
    return found.in_kelvin(case.curve)


def _variants(case: _Case, benches: int, seed: int) -> tuple[Spread, Spread, Spread]:
    """After the check: with a box within its certificate, with a rough chip, with the coarser grade."""
    others = [replace(case, circuit=replace(case.circuit, grade=grade)) for grade in (_ROUGH, C_GRADE)]
    with_box = _errors(case, benches, seed, _BOX)[1]
    rough, coarse = (_errors(other, benches, seed)[1] for other in others)
    return with_box, rough, coarse


def _ranked(volts: float, benches: int, seed: int) -> tuple[CircuitScore, ...]:
    candidates = [
        held_to_current(
            Circuit(source_v=volts, reference_ohm=ohm, ballast_ohm=51.0, lift_ohm=51.0), limit_ma=1.0
        )
        for ohm in REFERENCES_OHM
    ]
    return rank_circuits(
        candidates,
        curve=load_curve(SENDER),
        temperatures_c=RANKED_C,
        ranges=2,
        benches=benches,
        seed=seed,
    )


def _row(case: _Case, *spreads: Any) -> tuple[str, ...]:
    before, after, variants = spreads
    return (case.words, *(f"{1e3 * one.rms:.1f} / {1e3 * one.p95:.1f}" for one in (before, after, *variants)))


def _references(score: CircuitScore) -> tuple[float, ...]:
    return tuple(circuit.reference_ohm for circuit in score.circuits)


def _result(
    rows: list[tuple[str, ...]],
    worst_k: float,
    ranked: Mapping[float, tuple[CircuitScore, ...]],
    benches: int,
    seed: int,
) -> BenchmarkResult:
    at_one_volt = ranked[1.0]
    (mine,) = [score for score in at_one_volt if _references(score) == (2700.0, 750.0)]
    best = at_one_volt[0]
    merits = [
        FigureOfMerit(
            name="sender channel after the check, 25 to 97 °C, worst p95 [K]", value=worst_k, goal=GOAL_P95_K
        ),
        FigureOfMerit(
            name="wired pair over the best pair at 1 V, worst p95 [ratio]",
            value=mine.worst_p95_k / best.worst_p95_k,
            goal=GOAL_RATIO,
        ),
    ]
    merits += [
        FigureOfMerit(
            name=f"best pair at {volts:g} V and 1 mA, worst p95 [K]: "
            + " and ".join(f"{ohm:g}" for ohm in _references(scores[0]))
            + " Ω",
            value=scores[0].worst_p95_k,
        )
        for volts, scores in ranked.items()
    ]
    return BenchmarkResult(
        name=CircuitBenchmark.name,
        title="The resistance channel",
        seed=seed,
        counts=f"{benches} benches a line, one reading each, millikelvin rms / p95",
        columns=("read", "before the check", "after", "box as certified", "rough chip", "C grade"),
        rows=tuple(rows),
        merits=tuple(merits),
        notes=(
            "Assumed: the shape of the converter's nonlinearity (its size is the data sheet's), noise of 0.7 "
            "of a code at 1 V, hum up to 2 codes, 3 K of drift between check and reading. Not from metal.",
            "A rough chip has four times the assumed local errors, which a quadratic cannot take up.",
            "Only ‘box as certified’ draws the box within its certificate (U = 0.01 % + 0.03 Ω).",
        ),
        data={
            "ranked": {
                f"{volts:g}": [
                    {
                        "reference_ohm": list(_references(score)),
                        "ballast_ohm": [circuit.ballast_ohm for circuit in score.circuits],
                        "worst_p95_k": score.worst_p95_k,
                        "worst_at_c": score.worst_at_c,
                        "overall_p95_k": score.overall_p95_k,
                        "peak_ma": score.peak_ma,
                    }
                    for score in scores[:10]
                ]
                for volts, scores in ranked.items()
            }
        },
        draw=lambda figure: _draw(figure, ranked),
    )


def _draw(figure: Any, ranked: Mapping[float, tuple[CircuitScore, ...]]) -> None:
    """Worst p95 of every pair over its smaller reference, one row of points for each voltage."""
    panel = figure.subplots()
    for volts, scores in ranked.items():
        panel.semilogx(
            [_references(score)[-1] for score in scores],
            [1e3 * score.worst_p95_k for score in scores],
            ".",
            label=f"{volts:g} V",
        )
    panel.axhline(1e3 * GOAL_P95_K, linewidth=0.8, linestyle=":")
    panel.set_xlabel("smaller reference resistor / Ω")
    panel.set_ylabel("after the check, worst p95 / mK")
    panel.set_ylim(0.0, 150.0)
    panel.legend()
