"""Which model the points themselves speak for."""

from collections.abc import Sequence
from dataclasses import dataclass

from calibration.errors import FitError
from calibration.thermistor.fit import CurveFit, akaike_corrected, fit_curve
from calibration.thermistor.fit_point import FitPoint
from calibration.thermistor.model import Model


@dataclass(frozen=True, slots=True, kw_only=True)
class ModelChoice:
    """The model with the best evidence, and how the others stood.

    Attributes
    ----------
    fit : CurveFit
        Of the chosen model.
    evidence : dict[Model, float]
        Corrected Akaike information of each model that could be compared; the smallest won.
    words : str
        Which was chosen and why.
    """

    fit: CurveFit
    evidence: dict[Model, float]
    words: str


def choose_model(points: Sequence[FitPoint]) -> ModelChoice:
    """Fit every model the points allow and take the one with the best evidence.

    Raises
    ------
    FitError
        If fewer than two models can be compared.
    """
    fits: dict[Model, CurveFit] = {}
    evidence: dict[Model, float] = {}
    for model in Model:
        try:
            fit = fit_curve(points, model)
        except FitError:
            continue
        value = akaike_corrected(fit, points)
        if value is not None:
            fits[model], evidence[model] = fit, value
    if len(evidence) < 2:
        raise FitError(
            f"{len(points)} points are too few to tell the models apart: six can, five where every point "
            "has an uncertainty. Name a model instead."
        )
    best = min(evidence, key=lambda model: evidence[model])
    others = ", ".join(
        f"{model.words} by {evidence[model] - evidence[best]:.1f}" for model in evidence if model is not best
    )
    left_out = [model.words for model in Model if model not in evidence]
    words = f"Chose {best.words}: by corrected Akaike information it is ahead of {others}."
    if left_out:
        words += f" Not compared, too few points: {', '.join(left_out)}."
    return ModelChoice(fit=fits[best], evidence=evidence, words=words)
