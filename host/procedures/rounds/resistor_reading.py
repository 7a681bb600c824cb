"""A fixed resistor in the place of the sender, as the rig of a station reads it."""

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from calibration.contract.readings import Insertion, ReadingPack
from calibration.resistance.ohms_check import RangeCorrection
from calibration.rounding import two_digits
from calibration.station_round import StatedValue
from calibration.uncertainty.line import rectangular_u
from host.citation import Citation
from host.errors import DeskError
from host.procedures.bench_setup import ReadingsOf, box_corrections, raw_count
from host.procedures.ohms.reused_check import MOVED_SINCE, ReusedCheck

#: What is read before the press of the button. [s]
WINDOW_S = 20.0
_FEWEST_READINGS = 10
#: Channel with its parts as bought, no ohms check behind it; half-width of the resistance (0.8 % on the range
#: for gauges, whose resistors are small). [1]
AS_BOUGHT, AS_BOUGHT_GAUGE = 0.006, 0.008
_GAUGE_RANGE_OHM = 68.0
#: Both clips; assumed. [Ω]
CLIPS_OHM = 0.05
#: Readings scatter by this much at the most where nothing is loose. [1]
_MOST_SCATTER = 0.002
_K = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ResistorReading:
    """A resistor as a station reads it.

    Attributes
    ----------
    stated : StatedValue
        [Ω]
    words : str
    cites : Citation
    is_simulated : bool
    """

    stated: StatedValue
    words: str
    cites: Citation
    is_simulated: bool


def read_resistor(
    packs: Sequence[ReadingPack],
    *,
    check: ReusedCheck | None,
    decade_box: Mapping[str, Any],
    readings_of: ReadingsOf,
) -> ResistorReading:
    """What the sender channel read over the last seconds.

    Parameters
    ----------
    packs : sequence of ReadingPack
        Newest readings of the station, oldest first.
    check : ReusedCheck or None
        Ohms check of that rig, under a day old; without one its parts count as bought.
    decade_box : Mapping
        Register entry of the box that made the check.
    readings_of : callable
        Readings that the check cites.

    Raises
    ------
    DeskError
        If there are no good readings, or they jump about.
    """
    window = _window(packs)
    newest = window[-1]
    values = [reading for pack in window if (reading := _ohms(pack)) is not None]
    if len(values) < max(_FEWEST_READINGS, len(window) // 2):
        raise DeskError(
            f"{newest.station} gave {len(values)} good readings of the resistor in the last {WINDOW_S:g} s: "
            "clip it in where the sender goes, wait, then read again."
        )
    mean_ohm, scatter_ohm = statistics.fmean(values), statistics.stdev(values)
    if scatter_ohm > _MOST_SCATTER * mean_ohm:
        raise DeskError(
            f"The readings of {newest.station} jump about by {two_digits(scatter_ohm)} Ω: seat both clips, "
            "wait, then read again."
        )
    correction = None if check is None else _correction(check, decade_box, readings_of, newest)
    if correction is None or check is None:
        share = AS_BOUGHT_GAUGE if newest.range_ohm == _GAUGE_RANGE_OHM else AS_BOUGHT
        value_ohm, channel_u_ohm = mean_ohm, rectangular_u(share * mean_ohm)
        how = f"no ohms check of the day, so its parts as bought ({share:.1%})".replace("%", " %")
    else:
        count = statistics.fmean(raw_count(pack, "sender") for pack in window if _ohms(pack) is not None)
        value_ohm = correction.corrected_ohm(count)
        channel_u_ohm = math.hypot(correction.standard_u_ohm(count), rectangular_u(MOVED_SINCE * value_ohm))
        how = f"corrected by the ohms check of run {check.run:04d}"
    u_ohm = math.hypot(channel_u_ohm, rectangular_u(CLIPS_OHM), scatter_ohm)
    return ResistorReading(
        stated=StatedValue(value=value_ohm, expanded_u=_K * u_ohm, k=_K),
        words=f"read by its rig over {len(values)} readings, {how}",
        cites=Citation.of(window),
        is_simulated=newest.simulated,
    )


def _window(packs: Sequence[ReadingPack]) -> list[ReadingPack]:
    if not packs:
        raise DeskError("This station has sent no reading yet: look at its light and its plug.")
    newest = packs[-1]
    return [
        pack for pack in packs if pack.boot == newest.boot and newest.rig_time_s - WINDOW_S <= pack.rig_time_s
    ]


def _ohms(pack: ReadingPack) -> float | None:
    """Resistance at the sender's place; none where the decade box stands in for it."""
    return pack.good_value("sender") if pack.insertion is Insertion.NONE else None


def _correction(
    check: ReusedCheck, decade_box: Mapping[str, Any], readings_of: ReadingsOf, newest: ReadingPack
) -> RangeCorrection | None:
    """Correction of the range in force; None where the check has none that reaches it."""
    corrections = box_corrections(check.plan, check.box_read, decade_box, readings_of)
    found = corrections.get((Insertion.SENDER, newest.range_ohm or 0.0))
    ohms = _ohms(newest)
    if found is None or ohms is None or not found.lowest_ohm <= ohms <= found.highest_ohm:
        return None
    return found
