"""The probe in ice or boiling water as the bench reads it: its ohms, and what they may be off."""

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from calibration.contract.readings import Insertion, ReadingPack
from host.citation import Citation
from host.contact_reference import (
    CHANNEL_HALF_WIDTH,
    MOST_DRIFT_K_PER_MIN,
    probe_window,
    slope_k_per_min,
)
from host.errors import DeskError
from host.live import Live
from host.procedures.bench_setup import ReadingsOf, probe_of
from host.procedures.references.probe_check import ProbeCheckSettings
from host.readings_of_now import readings_of_now
from host.store import Store

_NEWEST_PACKS = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeReading:
    """The probe over the last seconds.

    Attributes
    ----------
    resistance_ohm : float
        Mean of the readings. [Ω]
    half_width_ohm : float
        Most that it may be off: channel with its parts as bought, and twice what the readings scatter. [Ω]
    cites : Citation
    """

    resistance_ohm: float
    half_width_ohm: float
    cites: Citation


def read_probe_now(store: Store, live: Live, station: str, probe: Mapping[str, Any]) -> ProbeReading:
    """What a station says of a probe now.

    Parameters
    ----------
    store, live : Store, Live
    station : str
    probe : Mapping
        Register entry of the probe that hangs there.

    Raises
    ------
    DeskError
        If the station is silent, another probe hangs there, or the probe is not read or does not stand still.
    """
    kept_at = probe.get("station")
    if kept_at and kept_at != station:
        raise DeskError(f"{probe['serial']} is kept at {kept_at}, not at {station}: read it from there.")
    packs = readings_of_now(store, live, station, _NEWEST_PACKS)
    if packs and packs[-1].simulated != bool(probe.get("simulated", False)):
        raise DeskError(
            f"{station} is {'simulated' if packs[-1].simulated else 'a real bench'} and {probe['serial']} is "
            "not: choose the probe that hangs there."
        )
    return probe_reading_of(packs, probe)


def probe_reading_of(packs: Sequence[ReadingPack], probe: Mapping[str, Any]) -> ProbeReading:
    """What readings say of a probe.

    Raises
    ------
    DeskError
        If it was hardly read, a decade box stood in its place, or it does not stand still.
    """
    window, read = probe_window(packs)
    if any(pack.insertion is Insertion.PROBE for pack in window):
        raise DeskError("The decade box stands in the probe's place: let the run at this station end first.")
    curve = probe_of(probe).curve
    drift = slope_k_per_min([(time_s, curve.temperature_c(ohm)) for time_s, ohm in read])
    if abs(drift) > MOST_DRIFT_K_PER_MIN:
        raise DeskError(
            f"The probe drifts by {drift:+.2f} K/min and must stand still within {MOST_DRIFT_K_PER_MIN:g}: "
            "stir, wait, then read it again."
        )
    ohms = [ohm for _, ohm in read]
    mean_ohm = math.fsum(ohms) / len(ohms)
    return ProbeReading(
        resistance_ohm=mean_ohm,
        half_width_ohm=CHANNEL_HALF_WIDTH * mean_ohm + 2.0 * statistics.stdev(ohms),
        cites=Citation.of(window),
    )


def read_again(settings: ProbeCheckSettings, readings_of: ReadingsOf) -> ProbeCheckSettings:
    """Settings of a check with what a station read worked out from its readings once more.

    Raises
    ------
    DeskError
        If they come to nothing, as where they are gone.
    """
    made = {
        f"{where}_ohm": probe_reading_of(readings_of(cited), settings.probe).resistance_ohm
        for where, cited in settings.cited.items()
    }
    return replace(settings, **made)
