"""Which curves the readings of a run speak for, before anybody has chosen one."""

from dataclasses import dataclass, replace

from calibration.curves import CurveError, ReferenceCurve
from calibration.diagnosis.measured_points import points_by_hand, points_from_bench
from calibration.identification import Identification, identify
from calibration.thermistor.fit_point import FitPoint
from host.certificates.settings_on_paper import refuse_unprintable_settings
from host.curve_choice import all_curves, curve_by_name, text_of_curve
from host.curve_to_find import CurveChoice, ranking_of, stand_in_curve
from host.errors import DeskError
from host.procedures.bench_setup import ReadingsOf, bench_setup_of
from host.procedures.sender.sender_check_state import SenderCheckState
from host.procedures.sender.sender_result import bench_points_of
from host.store import Store

# The stand-in has no tolerance and its verdicts are not looked at: any limit does. [K]
_ANY_LIMIT_K = 1.0
LEAST_POINTS = 2


class ChoiceError(DeskError):
    """A curve that these readings cannot be judged against.

    Attributes
    ----------
    place : str
        The field beside which it is said: ``curve`` or ``limit_k``.
    """

    def __init__(self, place: str, words: str) -> None:
        super().__init__(words)
        self.place = place


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvesFound:
    """The curves ranked for readings, and the readings themselves.

    Attributes
    ----------
    ranked : Identification
    points : tuple of (float, float)
        Temperature and resistance. [°C], [Ω]
    """

    ranked: Identification
    points: tuple[tuple[float, float], ...]

    def choice(self, name: str, store: Store, *, limit_k: float | None, by: str, chosen: str) -> CurveChoice:
        """Choice of a curve for these readings.

        Raises
        ------
        ChoiceError
            If it cannot judge them; says beside which field.
        """
        if not name:
            raise ChoiceError("curve", "Choose one of the curves, or add the right one first.")
        try:
            curve = curve_by_name(name, store.curves)
        except CurveError as error:
            raise ChoiceError("curve", str(error)) from error
        self._refuse_where_it_cannot_judge(curve)
        if limit_k is None and not curve.has_tolerance:
            raise ChoiceError(
                "limit_k",
                f"{curve.name} was printed without a tolerance: write how far the sender may be off.",
            )
        curve_text = text_of_curve(name, store.curves)
        try:
            refuse_unprintable_settings({"curve_text": curve_text})
        except DeskError as error:
            raise ChoiceError("curve", str(error)) from error
        return CurveChoice(
            curve=name,
            curve_hash=curve.content_hash,
            curve_text=curve_text,
            by=by,
            chosen=chosen,
            ranking=ranking_of(self.ranked),
            none_of_these=self.ranked.none_of_these,
            limit_k=limit_k,
        )

    def _refuse_where_it_cannot_judge(self, curve: ReferenceCurve) -> None:
        for temperature_c, resistance_ohm in self.points:
            try:
                curve.resistance_ohm(temperature_c)
                curve.indicated_c(resistance_ohm, at_c=temperature_c)
            except CurveError as error:
                words = f"{curve.name} cannot judge all of these readings: {error}"
                raise ChoiceError("curve", words) from error


def curves_of_run(state: SenderCheckState, readings_of: ReadingsOf, store: Store) -> CurvesFound:
    """Curves ranked for what a run read.

    Raises
    ------
    BenchPointError, OhmsCheckError, LoopError
        If what was read cannot be used.
    """
    unlimited = replace(state, settings=replace(state.started, limit_k=_ANY_LIMIT_K))
    setup = bench_setup_of(state, readings_of)
    points = [judged.point for judged, _ in bench_points_of(unlimited, setup, readings_of)]
    measured = points_from_bench(points, stand_in_curve())
    return CurvesFound(
        ranked=identify(measured, all_curves(store.curves)),
        points=tuple((point.temperature_c, point.resistance_ohm) for point in points),
    )


def curves_of_typed_points(points: tuple[FitPoint, ...], store: Store) -> CurvesFound:
    """Curves ranked for points that were typed, each with its uncertainties."""
    return CurvesFound(
        ranked=identify(points_by_hand(points), all_curves(store.curves)),
        points=tuple((point.temperature_c, point.resistance_ohm) for point in points),
    )
