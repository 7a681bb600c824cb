"""A reading as a page shows it: values with their quality in words, and the bars of the agreement strip."""

import math
from dataclasses import dataclass, replace

from calibration.contract.readings import ChannelReading, Insertion, Quality, ReadingPack
from calibration.curves import CurveError, ReferenceCurve
from calibration.reference_probe import ReferenceProbe
from host.certificates.certificate import Witness
from host.station_thermometers import StationThermometers
from host.witnesses import (
    INFRARED,
    ONE_WIRE,
    PROBE,
    SENDER,
    CertifiedWitness,
    WitnessSaid,
    infrared_witness,
    one_wire_witness,
)

#: Share of R that a live reading may be off, before the ohms check of a run corrects it: one code of a 12-bit
#: converter at the ends of the usable range is 0.27 % of R, and the reference resistors are 0.1 % parts.
LIVE_OHMS_SHARE = 0.003

#: A live bar is never drawn shorter than this: nothing that still moves is known better. [K]
LEAST_LIVE_U_K = 0.1

# In series or across the sender the box is a planted fault, and a room reads these pages from the back row:
# where it is planted says so to its instructor alone.
_BOX_STANDS_IN = {Insertion.SENDER: "sender", Insertion.PROBE: "probe"}
_NAMES = {
    "sender": "Sender",
    "probe": "Probe",
    "witness": "Witness",
    "infrared": "Infrared",
    "ambient": "Air",
}
_BARS = {"probe": PROBE, "witness": ONE_WIRE, "infrared": INFRARED, "sender": SENDER}
QUALITY_WORDS = {
    Quality.RANGE: "out of the range that can be read",
    Quality.OPEN: "open circuit",
    Quality.SHORT: "short circuit",
    Quality.CHECKSUM: "checksum wrong",
    Quality.ERROR_FLAG: "sensor says error",
    Quality.POWER_ON: "power-on value",
    Quality.MISSING: "no answer",
    Quality.STALE: "old value",
    Quality.FROZEN: "value does not move",
    Quality.SWITCHING: "switching",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveValue:
    """What one channel says.

    Attributes
    ----------
    key, name : str
        Channel on the wire, and on the page.
    resistance_ohm, u_resistance_ohm : float or None
        Where ohms are read and usable. [Ω]
    temperature_c, u_temperature_k : float or None
        Where a temperature can be told. [°C], [K]
    words : str
        Why there is no value, or what else there is to say; empty where all is well.
    corrected : str
        By what it was corrected; empty where it was not.
    """

    key: str
    name: str
    resistance_ohm: float | None = None
    u_resistance_ohm: float | None = None
    temperature_c: float | None = None
    u_temperature_k: float | None = None
    words: str = ""
    corrected: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveValues:
    """One reading, channel by channel.

    Attributes
    ----------
    values : tuple[LiveValue, ...]
        Sender, probe, witness, infrared, air.
    witnesses : tuple[Witness, ...]
        Bars of the strip, the probe first and the sender last; empty where nobody can say a temperature.
    """

    values: tuple[LiveValue, ...]
    witnesses: tuple[Witness, ...]

    def of(self, key: str) -> LiveValue | None:
        """Value of a channel."""
        return next((value for value in self.values if value.key == key), None)


_SILENT = LiveValue(key="", name="")


def live_values_of(
    pack: ReadingPack,
    *,
    thermometers: StationThermometers,
    curve: ReferenceCurve | None,
) -> LiveValues:
    """Values and bars of a reading.

    Parameters
    ----------
    pack : ReadingPack
    thermometers : StationThermometers
        Those of the register; without a probe its ohms stay ohms, without corrections a witness speaks as
        bought.
    curve : ReferenceCurve or None
        Curve of the open run; without one nobody knows what the sender means.
    """
    values = tuple(
        _value(name, reading, pack, thermometers, curve)
        for name in _NAMES
        if (reading := pack.channels.get(name)) is not None
    )
    return LiveValues(values=values, witnesses=_witnesses(values))


def _value(
    name: str,
    reading: ChannelReading,
    pack: ReadingPack,
    known: StationThermometers,
    curve: ReferenceCurve | None,
) -> LiveValue:
    if reading.quality is not Quality.GOOD or reading.value is None:
        words = reading.reason or QUALITY_WORDS.get(reading.quality, reading.quality.value)
        return LiveValue(key=name, name=_NAMES[name], words=words)
    if name == "witness":
        return _said(name, one_wire_witness(reading.value, _of_its_world(known.one_wire, pack)))
    if name == "infrared":
        own = _of_its_world(known.infrared, pack)
        said = infrared_witness(reading.value, own, cell_emissivity=pack.infrared_emissivity)
        return _said(name, said)
    if name == "ambient":
        return _said(name, infrared_witness(reading.value))
    ohms = LiveValue(
        key=name,
        name=_NAMES[name],
        resistance_ohm=reading.value,
        u_resistance_ohm=LIVE_OHMS_SHARE * reading.value,
    )
    if _BOX_STANDS_IN.get(pack.insertion) == name:
        return replace(ohms, words=f"decade box in its place, set to {pack.decade_ohm:,.0f} Ω")
    return _of_probe(ohms, known.probe) if name == "probe" else _of_sender(ohms, curve, pack, known.probe)


def _of_its_world(own: CertifiedWitness | None, pack: ReadingPack) -> CertifiedWitness | None:
    """Corrections of a simulated witness are none of a real one."""
    return None if own is not None and own.simulated and not pack.simulated else own


def _said(name: str, said: WitnessSaid) -> LiveValue:
    return LiveValue(
        key=name,
        name=_NAMES[name],
        temperature_c=said.witness.temperature_c,
        u_temperature_k=max(said.witness.expanded_u_k, LEAST_LIVE_U_K),
        corrected=said.words,
    )


def _of_probe(ohms: LiveValue, probe: ReferenceProbe | None) -> LiveValue:
    assert ohms.resistance_ohm is not None and ohms.u_resistance_ohm is not None
    if probe is None:
        return replace(ohms, words="no probe in the register: its ohms cannot be turned into a temperature")
    if not ohms.resistance_ohm > 0.0:
        return replace(ohms, words="no resistance at all: short circuit?")
    temperature_c = probe.temperature_c(ohms.resistance_ohm)
    if not probe.covers(temperature_c):
        words = f"outside the probe's certificate, {probe.valid_from_c:g} to {probe.valid_to_c:g} °C"
        return replace(ohms, words=words)
    ohms_u_k = ohms.u_resistance_ohm * abs(probe.curve.sensitivity_k_per_ohm(ohms.resistance_ohm))
    u_k = max(math.hypot(probe.expanded_u_k, ohms_u_k), LEAST_LIVE_U_K)
    return replace(ohms, temperature_c=temperature_c, u_temperature_k=u_k)


def _of_sender(
    ohms: LiveValue, curve: ReferenceCurve | None, pack: ReadingPack, probe: ReferenceProbe | None
) -> LiveValue:
    bath_c = _bath_c(pack, probe)
    if curve is None or bath_c is None or ohms.resistance_ohm is None or ohms.u_resistance_ohm is None:
        return ohms
    try:
        indicated_c = curve.indicated_c(ohms.resistance_ohm, at_c=bath_c)
    except CurveError:
        # A curve of few rows says nothing between them: the ohms stand alone then.
        return ohms
    ohms_u_k = ohms.u_resistance_ohm * abs(curve.sensitivity_k_per_ohm(ohms.resistance_ohm))
    u_k = max(ohms_u_k, LEAST_LIVE_U_K)
    return replace(ohms, temperature_c=indicated_c, u_temperature_k=u_k)


def _bath_c(pack: ReadingPack, probe: ReferenceProbe | None) -> float | None:
    reading = pack.channels.get("probe")
    if probe is None or reading is None or reading.quality is not Quality.GOOD or not reading.value:
        return None
    return probe.temperature_c(reading.value) if pack.insertion is not Insertion.PROBE else None


def _witnesses(values: tuple[LiveValue, ...]) -> tuple[Witness, ...]:
    by_key = {value.key: value for value in values}
    if by_key.get("probe", _SILENT).temperature_c is None:
        return ()  # without the reference there is nothing to agree with
    return tuple(
        Witness(name=name, temperature_c=value.temperature_c, expanded_u_k=value.u_temperature_k)
        for key, name in _BARS.items()
        if (value := by_key.get(key, _SILENT)).temperature_c is not None and value.u_temperature_k is not None
    )
