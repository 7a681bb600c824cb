"""What a run's trials tell of stem, gradient and self-heating, in place of what is assumed of them."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from calibration.bath.gradient import (
    WANDER_BETWEEN_K,
    MeasuredGradient,
    PlacedReading,
    gradient_from_swap,
)
from calibration.bath.immersion import DepthReading, MeasuredStem, stem_from_two_depths
from calibration.bench_point import (
    LAG_DIFFERENCE_S,
    SENDER_DISSIPATION_W_PER_K,
    BenchSetup,
    sender_error,
)
from calibration.contract.readings import ReadingPack
from calibration.errors import CalibrationError
from calibration.resistance.excitation import Excitation
from calibration.resistance.zero_power import DutyReading, ZeroPower, zero_power
from calibration.uncertainty.budget import rectangular_u
from host.citation import Citation
from host.procedures.bench_setup import ReadingsOf
from host.procedures.sender.plateau_of_packs import is_usable, plateau_of
from host.procedures.sender.sender_check_state import SenderCheckState
from host.procedures.sender.trials import CHANGED, DEEP, FULL_CURRENT, SHALLOW, USUAL_CURRENT, Trial, base_of

# Depth at which a sender usually hangs; only the change of depth enters. [mm]
_WORKING_DEPTH_MM = 45.0

#: A measurement and an assumed span agree up to so many standard uncertainties beyond the span.
_AGREES_UP_TO = 2.0
_AGREES = "that agrees with the assumed span, which is the narrower and stands"


class TrialError(ValueError):
    """Readings of a trial that tell nothing; says what to do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredLines:
    """What was measured at the hottest plateau, and the words for it.

    Attributes
    ----------
    stem : MeasuredStem or None
    gradient : MeasuredGradient or None
    zero_power : ZeroPower or None
        Each None where it was not measured, or tells less than what is assumed.
    words : Mapping[Trial, str]
        What each trial told, as a certificate says it.
    """

    stem: MeasuredStem | None = None
    gradient: MeasuredGradient | None = None
    zero_power: ZeroPower | None = None
    words: Mapping[Trial, str]

    def put_into(self, setup: BenchSetup) -> BenchSetup:
        """Setup that corrects and budgets by what was measured."""
        return replace(
            setup,
            measured_stem=self.stem,
            measured_gradient=self.gradient,
            sender_zero_power=self.zero_power,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Held:
    """One window: sender against probe, and what the currents need."""

    error_k: float
    standard_u_k: float
    bath_c: float
    air_c: float
    sender_ohm: float
    range_ohm: float
    duty: float | None


def measured_lines_of(state: SenderCheckState, setup: BenchSetup, readings_of: ReadingsOf) -> MeasuredLines:
    """What the trials of a run tell, those that were left out apart.

    Raises
    ------
    TrialError
        If one tells nothing.
    """
    found = MeasuredLines(words={})
    for trial in state.trials_read:
        told = judge_trial(trial, state, state.trial_windows, setup, readings_of)
        found = replace(
            found,
            stem=told.stem or found.stem,
            gradient=told.gradient or found.gradient,
            zero_power=told.zero_power or found.zero_power,
            words={**found.words, **told.words},
        )
    return found


def judge_trial(
    trial: Trial,
    state: SenderCheckState,
    windows: Mapping[str, Citation],
    setup: BenchSetup,
    readings_of: ReadingsOf,
) -> MeasuredLines:
    """What one trial tells; nothing yet, where not all its steps are read.

    Parameters
    ----------
    trial : Trial
    state : SenderCheckState
    windows : Mapping[str, Citation]
        Readings of each step.
    setup : BenchSetup
    readings_of : callable

    Raises
    ------
    TrialError
        If its readings tell nothing; says what to do.
    """

    def held(step: str | None) -> _Held:
        citation = state.windows[-1].citation if step is None else windows[step]
        return _held(readings_of(citation), setup)

    try:
        match trial:
            case Trial.CURRENTS if {FULL_CURRENT, USUAL_CURRENT} <= windows.keys():
                return _by_currents(held(USUAL_CURRENT), held(FULL_CURRENT), setup)
            case Trial.DEPTHS if {SHALLOW, DEEP} <= windows.keys():
                return _by_depths(held(DEEP), held(SHALLOW), state.drawn_out_mm, setup)
            case Trial.PLACES if CHANGED in windows:
                return _by_places(held(base_of(CHANGED, windows)), held(CHANGED))
    except CalibrationError as error:
        raise TrialError(str(error)) from error
    return MeasuredLines(words={})


def _held(packs: Sequence[ReadingPack], setup: BenchSetup) -> _Held:
    usable = [pack for pack in packs if is_usable(pack)]
    plateau = plateau_of(usable, setup)
    error = sender_error(plateau, setup)
    # Two windows drift by different rates, and sender and probe lag differently.
    drift_k = abs(plateau.slope_k_per_min) / 60.0 * LAG_DIFFERENCE_S
    correction = setup.sender_correction(plateau.sender_range_ohm)
    probe_c = [
        setup.probe.temperature_c(setup.probe_correction.corrected_ohm(count))
        for count in plateau.probe_count
    ]
    return _Held(
        error_k=error.mean,
        standard_u_k=math.hypot(error.standard_u, rectangular_u(drift_k), rectangular_u(WANDER_BETWEEN_K)),
        bath_c=_mean(probe_c),
        air_c=plateau.air_c,
        sender_ohm=_mean([correction.corrected_ohm(count) for count in plateau.sender_count]),
        range_ohm=plateau.sender_range_ohm,
        duty=usable[-1].sender_duty,
    )


def _by_depths(deep: _Held, shallow: _Held, drawn_out_mm: float, setup: BenchSetup) -> MeasuredLines:
    stem = stem_from_two_depths(
        DepthReading(
            depth_mm=_WORKING_DEPTH_MM - drawn_out_mm,
            error_k=shallow.error_k,
            standard_u_k=shallow.standard_u_k,
        ),
        DepthReading(depth_mm=_WORKING_DEPTH_MM, error_k=deep.error_k, standard_u_k=deep.standard_u_k),
        temperature_c=deep.bath_c,
        air_c=deep.air_c,
    ).within(setup.immersion)
    fell = f"drawn out by {drawn_out_mm:g} mm at {deep.bath_c:.1f} °C it read {_moved_words(shallow, deep)}"
    if _is_wider(stem.standard_u_k(1.0, 0.0), setup.immersion.standard_u_k(1.0, 0.0)):
        return MeasuredLines(words={Trial.DEPTHS: f"{fell}; {_AGREES}"})
    share_u = stem.standard_u_k(1.0, 0.0)
    words = f"{fell}: {stem.share:.2%} of bath minus air are lost, standard uncertainty {share_u:.2%}"
    return MeasuredLines(stem=stem, words={Trial.DEPTHS: words})


def _by_places(before: _Held, after: _Held) -> MeasuredLines:
    gradient = gradient_from_swap(
        PlacedReading(error_k=before.error_k, standard_u_k=before.standard_u_k),
        PlacedReading(error_k=after.error_k, standard_u_k=after.standard_u_k),
        temperature_c=before.bath_c,
        air_c=before.air_c,
    )
    half_width_k = gradient.half_width_k(before.bath_c, before.air_c)
    taken = "corrected for, the budget takes" if gradient.is_found else "not corrected for, the budget takes"
    words = (
        f"at {before.bath_c:.1f} °C the water differed by {gradient.difference_k:+.3f} K, {taken} "
        f"±{half_width_k:.3f} K"
    )
    return MeasuredLines(gradient=gradient, words={Trial.PLACES: words})


def _by_currents(usual: _Held, full: _Held, setup: BenchSetup) -> MeasuredLines:
    if not math.isclose(usual.range_ohm, full.range_ohm):
        raise TrialError("The ohms range changed between the two currents. Both are read again.")
    slope = setup.curve.sensitivity_k_per_ohm(usual.sender_ohm)
    found = zero_power(
        _at_duty(usual, setup, slope),
        _at_duty(full, setup, slope),
        sensitivity_k_per_ohm=slope,
        bath_change_k=full.bath_c - usual.bath_c,
    )
    power_w = _at_duty(usual, setup, slope).power_w
    rise_k, u_k = found.rise_k(power_w)
    read = f"with the current on all the time at {usual.bath_c:.1f} °C it read {_moved_words(full, usual)}"
    least, most = (1.0 / w_per_k for w_per_k in reversed(SENDER_DISSIPATION_W_PER_K))
    middle, half = 0.5 * (least + most), 0.5 * (most - least)
    agrees = abs(found.conductance_k_per_w - middle) <= half + _AGREES_UP_TO * found.u_conductance_k_per_w
    if agrees and _is_wider(found.u_conductance_k_per_w, rectangular_u(half)):
        return MeasuredLines(words={Trial.CURRENTS: f"{read}; {_AGREES}"})
    words = f"{read}: the usual current warms it by {rise_k:.3f} K, standard uncertainty {u_k:.3f} K"
    return MeasuredLines(zero_power=found, words={Trial.CURRENTS: words})


def _at_duty(held: _Held, setup: BenchSetup, slope_k_per_ohm: float) -> DutyReading:
    """A window as a reading at one duty: the one its packs say, never the one that was ordered."""
    if held.duty is None:
        raise TrialError("The rig does not say its duty. Bring its program up to date.")
    return DutyReading(
        resistance_ohm=held.sender_ohm,
        standard_u_ohm=held.standard_u_k / abs(slope_k_per_ohm),
        excitation=Excitation(
            source_v=setup.source_v,
            series_ohm=setup.fixed_series_ohm[held.range_ohm] + held.range_ohm,
            duty=held.duty,
        ),
    )


def _is_wider(measured_u: float, assumed_u: float) -> bool:
    return measured_u >= assumed_u


def _moved_words(changed: _Held, base: _Held) -> str:
    moved_k = changed.error_k - base.error_k
    return f"{abs(moved_k):.3f} K {'lower' if moved_k < 0.0 else 'higher'}"


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values)
