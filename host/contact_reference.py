"""A target's temperature by its reference: the bench's probe, or a contact thermometer read by hand."""

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from calibration.contract.readings import Insertion, ReadingPack
from calibration.errors import CalibrationError
from calibration.uncertainty.line import rectangular_u
from host.citation import Citation
from host.errors import DeskError
from host.procedures.bench_setup import probe_of
from host.registered_thermometer import thermometer_of

#: A shot rests on what the probe said this long before it. [s]
WINDOW_S = 20.0
#: The probe must stand this still. [K/min]
MOST_DRIFT_K_PER_MIN = 0.5
_FEWEST_READINGS = 10
#: A press is typed within this time: shot, put down, typed. Assumed. [s]
LONGEST_PRESS_AGO_S = 150.0
#: Resistance channel with its parts as bought, no ohms check behind it; half-width of the resistance. [1]
CHANNEL_HALF_WIDTH = 0.006


@dataclass(frozen=True, slots=True, kw_only=True)
class ContactReference:
    """Temperature of the target by its reference.

    Attributes
    ----------
    temperature_c, u_k : float
        [°C], standard uncertainty [K]
    words : str
    cites : Citation or None
    drift_k_per_min : float
        [K/min]
    """

    temperature_c: float
    u_k: float
    words: str
    cites: Citation | None = None
    drift_k_per_min: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Taking:
    """What is taken of a target while it stands still, in words.

    Attributes
    ----------
    of : str
        What must stand still.
    what : str
    again : str
        What to do once it does.
    """

    of: str
    what: str
    again: str


SHOT = Taking(of="The target", what="a shot", again="shoot again")
SENSOR_READING = Taking(of="The target", what="a reading", again="take the reading again")
BATH_READING = Taking(of="The bath", what="a reading", again="read both again")


def read_by_hand(shown_c: float, content: Mapping[str, Any]) -> ContactReference:
    """A contact thermometer as it was read, corrected by its certificate.

    Raises
    ------
    DeskError
        If its certificate does not cover it, or nobody says anything of it there.
    """
    thermometer = thermometer_of(content)
    try:
        correction = thermometer.correction_at(shown_c)
    except CalibrationError as error:
        raise DeskError(str(error)) from error
    if thermometer.points and not correction.is_certified:
        raise DeskError(
            f"{content['serial']} is {thermometer.certified_range}, and it says {shown_c:g} °C: nothing may "
            "be calibrated by it there. Choose a set point inside that range, or another reference."
        )
    said_c = round(shown_c, 2)  # one that was typed in °F has many digits
    return ContactReference(
        temperature_c=shown_c + correction.correction_k,
        u_k=correction.standard_u_k,
        words=f"{content['serial']} said {said_c:g} °C, corrected by {correction.correction_k:+.2f} K"
        if correction.is_certified
        else f"{content['serial']} said {said_c:g} °C, by {whose_word(content)}",
    )


def whose_word(content: Mapping[str, Any]) -> str:
    """Who says how far a contact thermometer without points may be off: its certificate, or its maker."""
    if not content.get("is_certified", False):
        return "its maker's word"
    return f"certificate {content['certificate']}, {content['issuer']}"


def read_by_probe(
    packs: Sequence[ReadingPack],
    content: Mapping[str, Any],
    *,
    at_s: float | None = None,
    taking: Taking = SHOT,
) -> ContactReference:
    """The bench's probe over the last seconds before a shot.

    Parameters
    ----------
    packs : sequence of ReadingPack
        Newest readings of the station, oldest first. Whether they are of now is for the caller to see to
        (`host.readings_of_now`).
    content : Mapping
        Register entry of the probe.
    at_s : float, optional
        Rig time of the shot; that of the newest reading, where nobody stamped it. [s]
    taking : Taking
        What is taken, for the words of a refusal.

    Raises
    ------
    DeskError
        If the probe was not read, does not stand still, or its certificate does not cover it.
    """
    window, read = probe_window(packs, at_s=at_s)
    probe = probe_of(content)
    temperatures = [(time_s, probe.temperature_c(ohms)) for time_s, ohms in read]
    mean_c = statistics.fmean(temperature for _, temperature in temperatures)
    if not probe.covers(mean_c):
        raise DeskError(
            f"The probe's certificate covers {probe.valid_from_c:g} to {probe.valid_to_c:g} °C, and it says "
            f"{mean_c:.1f} °C: nothing may rest on it there."
        )
    drift = slope_k_per_min(temperatures)
    if abs(drift) > MOST_DRIFT_K_PER_MIN:
        raise DeskError(
            f"{taking.of} drifts by {drift:+.2f} K/min; {taking.what} needs less than "
            f"{MOST_DRIFT_K_PER_MIN:g} K/min. Heater off, stir, wait, then {taking.again}."
        )
    return ContactReference(
        temperature_c=mean_c,
        u_k=_probe_u_k(content, mean_c, temperatures),
        words=f"probe {content['serial']}: {mean_c:.2f} °C over {len(read)} readings, {drift:+.2f} K/min",
        cites=Citation.of(window),
        drift_k_per_min=drift,
    )


def probe_window(
    packs: Sequence[ReadingPack], *, at_s: float | None = None
) -> tuple[list[ReadingPack], list[tuple[float, float]]]:
    """The last seconds before a moment, and time and resistance of each good reading in them. [s], [Ω]

    Raises
    ------
    DeskError
        If the probe was hardly read then.
    """
    if not packs:
        raise DeskError("This station has sent no reading yet: look at its light and its plug.")
    boot, moment_s = packs[-1].boot, packs[-1].rig_time_s if at_s is None else at_s
    window = [
        pack for pack in packs if pack.boot == boot and moment_s - WINDOW_S <= pack.rig_time_s <= moment_s
    ]
    good = [(pack.rig_time_s, _ohms(pack)) for pack in window]
    read = [(time_s, ohms) for time_s, ohms in good if ohms is not None]
    if len(read) < max(_FEWEST_READINGS, len(window) // 2):
        raise DeskError(
            f"The probe gave {len(read)} good readings in the last {WINDOW_S:g} s. Look at its plug, wait, "
            "then read it again."
        )
    return window, read


def _ohms(pack: ReadingPack) -> float | None:
    if pack.insertion is Insertion.PROBE:  # the decade box stands in its place
        return None
    return pack.good_value("probe")


def slope_k_per_min(temperatures: Sequence[tuple[float, float]]) -> float:
    """Slope of temperatures over their times by least squares; 0 of a single one. [s, °C], [K/min]"""
    middle_s = statistics.fmean(time_s for time_s, _ in temperatures)
    spread = math.fsum((time_s - middle_s) ** 2 for time_s, _ in temperatures)
    if spread == 0.0:
        return 0.0
    return 60.0 * math.fsum((time_s - middle_s) * value for time_s, value in temperatures) / spread


def _probe_u_k(
    content: Mapping[str, Any], mean_c: float, temperatures: Sequence[tuple[float, float]]
) -> float:
    """Certificate, channel as bought, and what the readings scatter: they may all have wandered alike."""
    probe = probe_of(content)
    ohms = probe.curve.resistance_ohm(mean_c)
    channel_k = abs(probe.temperature_c(ohms * (1.0 - CHANNEL_HALF_WIDTH)) - mean_c)
    scatter_k = statistics.stdev(value for _, value in temperatures)
    return math.hypot(probe.standard_u_k(), rectangular_u(channel_k), scatter_k)


@dataclass(frozen=True, slots=True, kw_only=True)
class Press:
    """A press of the bench button.

    Attributes
    ----------
    boot : str
    seq : int
        Number of the pack that told of it.
    rig_time_s : float
        When it was pressed. [s]
    ago_s : float
        Before now. [s]
    """

    boot: str
    seq: int
    rig_time_s: float
    ago_s: float

    @property
    def key(self) -> tuple[str, int, float]:
        """By which a shot remembers it."""
        return (self.boot, self.seq, self.rig_time_s)


def presses_in(
    packs: Sequence[ReadingPack], *, known: frozenset[tuple[str, int, float]], silent_for_s: float = 0.0
) -> tuple[Press, ...]:
    """Presses of the bench button that no shot has yet, in the newest boot, oldest first.

    Parameters
    ----------
    packs : sequence of ReadingPack
        Newest readings of the station, oldest first.
    known : frozenset
        Presses that were typed, or were no shots.
    silent_for_s : float
        How long ago the newest reading came. [s]
    """
    if not packs:
        return ()
    newest = packs[-1]
    found = [
        Press(
            boot=pack.boot,
            seq=pack.seq,
            rig_time_s=round(pack.rig_time_s - before_s, 3),
            ago_s=silent_for_s + newest.rig_time_s - pack.rig_time_s + before_s,
        )
        for pack in packs
        if pack.boot == newest.boot
        for before_s in pack.shots_before_s
    ]
    fresh = [one for one in found if one.key not in known and one.ago_s <= LONGEST_PRESS_AGO_S]
    return tuple(sorted(fresh, key=lambda one: one.rig_time_s))
