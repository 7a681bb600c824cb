"""The form of a probe check: what is typed, what a station fills in, and errors in words beside the field."""

from collections.abc import Callable, Mapping
from typing import Any

from calibration.rounding import two_digits
from host.citation import Citation
from host.errors import DeskError
from host.live import Live
from host.procedures.references.probe_check import ProbeCheckSettings
from host.procedures.references.probe_reading import ProbeReading, probe_reading_of, read_probe_now
from host.quantity import altitude_m_of, pressure_pa_of, resistance_ohm_of
from host.store import Store
from host.store.instrument_kind import InstrumentKind
from host.web.instrument_choice import InstrumentChoice

#: Where the probe is read.
WHERE = ("ice", "boiling")
FIELDS = (
    "probe",
    "ice_ohm",
    "ice_error_ohm",
    "ice_read",
    "boiling_ohm",
    "boiling_error_ohm",
    "boiling_read",
    "pressure",
    "altitude",
    "limit_k",
    "operator",
)
_MOST_DIGITS = 15  # of the number of a reading
_BEYOND = " Ice is beyond the channel of most stations: ohmbath-rig ice on the Pi reads it there."


def probes_of(store: Store) -> InstrumentChoice:
    """Probes that may be checked."""
    return InstrumentChoice.of(store.register.standings(), InstrumentKind.PROBE)


def fill_in(pressed: str, typed: dict[str, str], errors: dict[str, str], *, store: Store, live: Live) -> None:
    """Write into the form what a station says of the probe now, or say beside the field why not.

    Parameters
    ----------
    pressed : str
        Where the probe is and what reads it: ``boiling:bench-1``.
    """
    where, _, station = pressed.partition(":")
    probe = _chosen(store, typed, errors)
    if where not in WHERE or probe is None:
        return
    try:
        read = read_probe_now(store, live, station, probe.content)
    except DeskError as error:
        errors[f"{where}_ohm"] = f"{error}{_BEYOND if where == 'ice' else ''}"
        return
    cited = read.cites
    typed |= {
        f"{where}_ohm": _ohm_text(read),
        f"{where}_error_ohm": two_digits(read.half_width_ohm),
        f"{where}_read": f"{cited.station}/{cited.boot}/{cited.first}/{cited.last}",
    }


def settings_of(
    typed: Mapping[str, str], errors: dict[str, str], *, store: Store, rule: str
) -> ProbeCheckSettings | None:
    """What a check is made from; None where no probe is chosen, worthless where there are errors."""
    probe = _chosen(store, typed, errors)
    if probe is None:
        return None

    def read(name: str, of: Callable[[str], float]) -> float | None:
        if not typed[name]:
            return None
        try:
            return of(typed[name])
        except (DeskError, ValueError) as error:
            errors[name] = str(error) if isinstance(error, DeskError) else "Write a number above zero."
            return None

    fields: dict[str, Any] = {"cites": {}}
    for where in WHERE:
        ohm, error_ohm = (read(f"{where}_{what}", resistance_ohm_of) for what in ("ohm", "error_ohm"))
        if ohm is not None and error_ohm is None:
            errors.setdefault(f"{where}_error_ohm", "Write how far the meter may be off there, in Ω.")
        by_station = _read_before(store, typed[f"{where}_read"], probe.content)
        if by_station is not None and typed[f"{where}_ohm"] == _ohm_text(by_station):
            ohm = by_station.resistance_ohm
            fields["cites"][where] = by_station.cites.as_json()
        fields |= {f"{where}_ohm": ohm, f"{where}_error_ohm": error_ohm or 0.0}
    pressure_pa = read("pressure", pressure_pa_of)
    return ProbeCheckSettings(
        item=f"Reference probe {probe.serial}",
        probe=dict(probe.content),
        pressure_kpa=None if pressure_pa is None else pressure_pa / 1000.0,
        altitude_m=read("altitude", altitude_m_of),
        limit_k=read("limit_k", _limit_k),
        rule=rule,
        operator=typed["operator"],
        simulated=probe.simulated,
        **fields,
    )


def _chosen(store: Store, typed: Mapping[str, str], errors: dict[str, str]) -> Any:
    probes = probes_of(store)
    try:
        return probes.chosen(typed["probe"]).in_force
    except DeskError as error:
        errors["probe" if probes.standings else "form"] = str(error)
        return None


def _read_before(store: Store, said: str, probe: Mapping[str, Any]) -> ProbeReading | None:
    """What the readings that a form names come to; None where it names none."""
    parts = said.split("/")
    if len(parts) != 4 or not all(one.isdecimal() and len(one) <= _MOST_DIGITS for one in parts[2:]):
        return None
    cited = Citation(station=parts[0], boot=parts[1], first=int(parts[2]), last=int(parts[3]))
    try:
        return probe_reading_of(store.readings_of(cited), probe)
    except DeskError:
        return None


def _ohm_text(read: ProbeReading) -> str:
    return f"{read.resistance_ohm:.2f}"


def _limit_k(text: str) -> float:
    limit_k = float(text)
    if not 0.0 < limit_k <= 10.0:
        raise DeskError("Write a number of kelvin above 0 and up to 10.")
    return limit_k
