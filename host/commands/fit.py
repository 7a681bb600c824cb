"""ohmbath fit: the curve through measured points."""

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from calibration.errors import FitError
from calibration.thermistor.choice import choose_model
from calibration.thermistor.fit import CurveFit, FitPoint, Model, fit_curve
from host.check_report import WIDTH, unused_words
from host.fit_words import coefficient_lines, equation_words, fit_data, residual_words
from host.one_line import OneLineCommand, json_text
from host.points_file import PointsFile, PointsFileError, read_points

AUTO = "auto"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fitted:
    """A fit and, where the model was left open, how it was chosen."""

    fit: CurveFit
    choice_words: str
    evidence: dict[str, float] | None


@click.command("fit", cls=OneLineCommand)
@click.argument("points_file", metavar="POINTS.csv", type=click.Path(path_type=Path))
@click.option(
    "--model",
    type=click.Choice([*(model.value for model in Model), AUTO]),
    default=Model.STEINHART_HART.value,
    show_default=True,
    help="Equation to fit; auto takes the one the points speak for.",
)
@click.option("--json", "as_json", is_flag=True, help="JSON on standard output, words on standard error.")
def command(points_file: Path, model: str, as_json: bool) -> None:
    """Fit a thermistor curve to measured points.

    POINTS.csv is written as for `ohmbath check`. Where it gives uncertainties they weigh the points;
    otherwise every point weighs the same in kelvin.
    """
    file = read_points(points_file)
    if not file.points:
        raise PointsFileError(file.name, "no resistance was read, only open or short circuits.")
    try:
        fitted = _fitted(file.points, model)
    except FitError as error:
        raise PointsFileError(file.name, str(error)) from error
    if as_json:
        click.echo(json_text(_data(fitted)))
        unused = (*_left_out_words(file), *unused_words(file.unused_columns))
        for line in (fitted.choice_words, fitted.fit.chi2_words, *unused):
            if line:
                click.echo(line, err=True)
    else:
        _print(fitted, file)


def _fitted(points: Sequence[FitPoint], model: str) -> _Fitted:
    if model != AUTO:
        return _Fitted(fit=fit_curve(points, Model(model)), choice_words="", evidence=None)
    choice = choose_model(points)
    evidence = {model.value: value for model, value in choice.evidence.items()}
    return _Fitted(fit=choice.fit, choice_words=choice.words, evidence=evidence)


def _data(fitted: _Fitted) -> dict[str, Any]:
    data = fit_data(fitted.fit)
    if fitted.evidence is not None:
        data |= {"choice": fitted.choice_words, "aicc": fitted.evidence}
    return data


def _left_out_words(file: PointsFile) -> tuple[str, ...]:
    """What is said of rows without a resistance."""
    if not file.dead:
        return ()
    rows = ", ".join(str(dead.row) for dead in file.dead)
    return (f"Left out, an open or a short circuit: row {rows}.",)


def _print(fitted: _Fitted, file: PointsFile) -> None:
    console = Console(file=sys.stdout, width=WIDTH, highlight=False)
    fit = fitted.fit
    console.print(
        Text(f"{fit.model.words[:1].upper()}{fit.model.words[1:]}, {len(file.points)} points", style="bold")
    )
    console.print(Text(equation_words(fit.model)))
    for line in coefficient_lines(fit):
        console.print(Padding(Text(line), (0, 0, 0, 2)))
    for line in (
        residual_words(fit),
        fit.chi2_words,
        fitted.choice_words,
        *_left_out_words(file),
        *unused_words(file.unused_columns),
    ):
        if line:
            console.print(Text(line))
