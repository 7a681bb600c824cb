"""Monte Carlo, a second opinion on a budget: distributions are propagated, not their second moments.

After JCGM 101:2008. Nothing here decides what is reported; it says whether what is reported holds.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import count

import numpy as np
import numpy.typing as npt

from calibration.uncertainty.budget import COVERAGE_PROBABILITY, Budget, Distribution

#: Trials drawn and evaluated together: few enough to stay in the processor's cache.
_STRETCH = 65_536

FloatArray = npt.NDArray[np.float64]

#: From drawn inputs, by name, to the result: one value for each trial.
Model = Callable[[Mapping[str, FloatArray]], FloatArray]

#: Trials of a block, at least (JCGM 101, 7.9.4 b).
BLOCK_TRIALS = 10_000
#: Blocks before the scatter between them is believed. The standard begins at two, which may agree by chance.
FEWEST_BLOCKS = 10
#: Where the adaptive procedure gives up and says so: 5 million trials.
MOST_BLOCKS = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """An input quantity as it is drawn.

    Attributes
    ----------
    estimate, standard_u : float
        [unit of the quantity]
    distribution : Distribution
    degrees_of_freedom : float
        Where finite, a normal or Student line is drawn from Student's t scaled by ``standard_u``
        (JCGM 101, 6.4.9).
    """

    estimate: float
    standard_u: float
    distribution: Distribution = Distribution.NORMAL
    degrees_of_freedom: float = math.inf

    def draw(self, chance: np.random.Generator, trials: int) -> FloatArray:
        """``trials`` values of the quantity."""
        return self.estimate + self.standard_u * self._unit_draw(chance, trials)

    def _unit_draw(self, chance: np.random.Generator, trials: int) -> FloatArray:
        if self.distribution is Distribution.RECTANGULAR:
            return math.sqrt(3.0) * (2.0 * chance.random(trials) - 1.0)
        if self.distribution is Distribution.TRIANGULAR:
            return math.sqrt(6.0) * (chance.random(trials) - chance.random(trials))
        if math.isinf(self.degrees_of_freedom):
            return chance.standard_normal(trials)
        return _student_t(chance, self.degrees_of_freedom, trials)


@dataclass(frozen=True, slots=True, kw_only=True)
class Simulated:
    """What the trials say of the result.

    Attributes
    ----------
    estimate, standard_u : float
        Mean and standard deviation of all trials. [unit]
    symmetric : tuple[float, float]
        Interval with equal probability on either side. [unit]
    shortest : tuple[float, float]
        Shortest interval of that probability. [unit]
    probability : float
        Within either interval.
    trials : int
    stable : bool
        Whether the adaptive procedure came to rest; always True where the trials were fixed.
    """

    estimate: float
    standard_u: float
    symmetric: tuple[float, float]
    shortest: tuple[float, float]
    probability: float
    trials: int
    stable: bool

    @property
    def expanded_u(self) -> float:
        """Half of the shortest interval. [unit]"""
        return 0.5 * (self.shortest[1] - self.shortest[0])


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondOpinion:
    """A budget's interval against the simulated one (JCGM 101, clause 8).

    Attributes
    ----------
    simulated : Simulated
    low_difference, high_difference : float
        Between the ends of the two intervals. [unit]
    tolerance : float
        Largest difference that leaves the budget's digits standing. [unit]
    """

    simulated: Simulated
    low_difference: float
    high_difference: float
    tolerance: float

    @property
    def agrees(self) -> bool:
        """Whether both ends agree, and the trials came to rest."""
        return self.simulated.stable and max(self.low_difference, self.high_difference) <= self.tolerance


def simulate(
    model: Model,
    inputs: Mapping[str, Input],
    *,
    seed: int,
    trials: int,
    probability: float = COVERAGE_PROBABILITY,
) -> Simulated:
    """Propagate distributions with a fixed number of trials (JCGM 101, clause 7).

    Parameters
    ----------
    model : callable
        Takes arrays by name, shape (n,), and returns one of the same shape, each trial for itself.
    inputs : mapping of str to Input
        Independent of each other.
    seed : int
        The same seed gives the same trials.
    trials : int
    probability : float

    Raises
    ------
    ValueError
        If there are too few trials for the interval, or the model gives something that is no number.
    """
    if trials * (1.0 - probability) < 100.0:
        raise ValueError(
            f"{trials} trials leave too few outside a {100 * probability:g} % interval: take "
            f"{math.ceil(100.0 / (1.0 - probability))} or more."
        )
    values = _trials(model, inputs, np.random.default_rng(seed), trials)
    return _summary(values, probability, stable=True)


def simulate_adaptively(
    model: Model,
    inputs: Mapping[str, Input],
    *,
    seed: int,
    probability: float = COVERAGE_PROBABILITY,
    digits: int = 2,
    tolerance_share: float = 1.0,
) -> Simulated:
    """Propagate distributions, block by block, until the digits that matter stand (JCGM 101, 7.9.4).

    Parameters
    ----------
    model, inputs, seed, probability :
        As for `simulate`.
    digits : int
        Significant digits of the standard uncertainty that shall stand: 1 or 2.
    tolerance_share : float
        Share of the numerical tolerance to reach: 1, less to validate a budget (JCGM 101, 8.2 advises 0.2).

    Raises
    ------
    ValueError
        If the model gives something that is no number.
    """
    chance = np.random.default_rng(seed)
    block = max(BLOCK_TRIALS, math.ceil(100.0 / (1.0 - probability)))
    blocks: list[FloatArray] = []
    seen: list[tuple[float, float, float, float]] = []
    for done in count(1):
        values = _trials(model, inputs, chance, block)
        blocks.append(values)
        low, high = _symmetric(np.sort(values), probability)
        seen.append((float(values.mean()), float(values.std(ddof=1)), low, high))
        if done < FEWEST_BLOCKS:
            continue
        stable = _at_rest(seen, digits, tolerance_share)
        if stable or done == MOST_BLOCKS:
            return _summary(np.concatenate(blocks), probability, stable=stable)
    raise AssertionError("unreachable")


def second_opinion(
    budget: Budget, *, seed: int, digits: int = 2, tolerance_share: float = 0.5
) -> SecondOpinion:
    """Whether a budget's interval stands up to its own lines, drawn from their own shapes.

    Parameters
    ----------
    budget : Budget
    seed : int
    digits : int
        Significant digits of the standard uncertainty that count.
    tolerance_share : float
        Of the numerical tolerance that the trials themselves may be off. JCGM 101, 8.2 advises 0.2, which
        takes six times as many trials as 0.5.
    """
    inputs = {
        str(place): Input(
            estimate=0.0,
            standard_u=line.contribution,
            distribution=line.distribution,
            degrees_of_freedom=line.degrees_of_freedom,
        )
        for place, line in enumerate(budget.lines)
    }

    def model(drawn: Mapping[str, FloatArray]) -> FloatArray:
        return np.asarray(sum(drawn.values(), start=np.float64(budget.estimate)))

    simulated = simulate_adaptively(model, inputs, seed=seed, digits=digits, tolerance_share=tolerance_share)
    return opinion_on(
        estimate=budget.estimate,
        standard_u=budget.standard_u,
        expanded_u=budget.expanded_u,
        simulated=simulated,
        digits=digits,
    )


def opinion_on(
    *, estimate: float, standard_u: float, expanded_u: float, simulated: Simulated, digits: int = 2
) -> SecondOpinion:
    """Reported interval against a simulated one, by its symmetric ends (JCGM 101, 8.1)."""
    return SecondOpinion(
        simulated=simulated,
        low_difference=abs(estimate - expanded_u - simulated.symmetric[0]),
        high_difference=abs(estimate + expanded_u - simulated.symmetric[1]),
        tolerance=numerical_tolerance(standard_u, digits),
    )


def numerical_tolerance(standard_u: float, digits: int) -> float:
    """Half a unit of the last of ``digits`` significant digits (JCGM 101, 7.9.2).

    Raises
    ------
    ValueError
        If the uncertainty is not above zero or the digits are not 1 or more.
    """
    if not standard_u > 0.0 or digits < 1:
        raise ValueError("A numerical tolerance needs an uncertainty above zero and one digit or more.")
    shown = float(f"{standard_u:.{digits - 1}e}")
    return float(0.5 * 10.0 ** (math.floor(math.log10(shown)) - digits + 1))


def _trials(
    model: Model, inputs: Mapping[str, Input], chance: np.random.Generator, trials: int
) -> FloatArray:
    values = np.empty(trials)
    for start in range(0, trials, _STRETCH):
        stretch = min(_STRETCH, trials - start)
        drawn = {name: quantity.draw(chance, stretch) for name, quantity in inputs.items()}
        values[start : start + stretch] = model(drawn)
    if not np.isfinite(values).all():
        raise ValueError(
            "The model leaves its range for some trials: an uncertainty is too large for its formula."
        )
    return values


def _student_t(chance: np.random.Generator, degrees_of_freedom: float, trials: int) -> FloatArray:
    """Student's t in polar form; the cosine by the tangent of half its angle, which is quicker.

    References
    ----------
    R. W. Bailey, Polar generation of random variates with the t-distribution, Mathematics of Computation 62
    (1994) 779-781 (from memory).
    """
    # From (0, 1], so that no logarithm is infinite.
    radius = np.log1p(-chance.random(trials))
    radius *= -2.0 / degrees_of_freedom
    np.expm1(radius, out=radius)
    radius *= degrees_of_freedom
    np.sqrt(radius, out=radius)
    half_angle = chance.random(trials)
    half_angle -= 0.5
    half_angle *= math.pi
    squared = np.tan(half_angle, out=half_angle)
    squared *= squared
    return np.asarray(radius * (1.0 - squared) / (1.0 + squared))


def _at_rest(
    seen: list[tuple[float, float, float, float]],
    digits: int,
    tolerance_share: float,
) -> bool:
    figures = np.asarray(seen)
    scatter = figures.std(axis=0, ddof=1) / math.sqrt(len(seen))
    # Blocks are of one size, so their variances pool (the means' own scatter is negligible).
    standard_u = math.sqrt(float(np.mean(figures[:, 1] ** 2)))
    tolerance = tolerance_share * numerical_tolerance(standard_u, digits)
    return bool((2.0 * scatter < tolerance).all())


def _summary(values: FloatArray, probability: float, *, stable: bool) -> Simulated:
    mean, deviation = float(values.mean()), float(values.std(ddof=1))
    ordered = np.sort(values)
    return Simulated(
        estimate=mean,
        standard_u=deviation,
        symmetric=_symmetric(ordered, probability),
        shortest=_shortest(ordered, probability),
        probability=probability,
        trials=values.size,
        stable=stable,
    )


def _symmetric(ordered: FloatArray, probability: float) -> tuple[float, float]:
    inside = round(probability * ordered.size)
    first = (ordered.size - inside) // 2
    return float(ordered[first]), float(ordered[min(first + inside, ordered.size - 1)])


def _shortest(ordered: FloatArray, probability: float) -> tuple[float, float]:
    inside = round(probability * ordered.size)
    widths = ordered[inside:] - ordered[: ordered.size - inside]
    first = int(np.argmin(widths))
    return float(ordered[first]), float(ordered[first + inside])
