"""The infrared thermometer a spot is read with: from the register with its corrections, or one as bought."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from calibration.corrected_thermometer import CorrectedThermometer
from calibration.infrared.handheld import Handheld
from calibration.infrared.planck import EIGHT_TO_FOURTEEN_UM, PlanckBand
from host.procedures.infrared.adjusted_since import adjusted_since_in_use
from host.registered_thermometer import handheld_of
from host.store import Store
from host.store.instrument_kind import InstrumentKind
from host.store.settings import Settings

#: What a thermometer outside the register is trusted to, half-width. Assumed. [K]
AS_BOUGHT_K = 2.0
#: Emissivities measured at 8 to 14 µm say nothing of a thermometer that sees shorter waves than this. [µm]
SHORTEST_UM = 5.0
#: The last digit of most handhelds. [K]
_LAST_DIGIT_K = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class SpotThermometer:
    """One thermometer as a form offers it.

    Attributes
    ----------
    serial : str
        Empty for one outside the register.
    words : str
        What it is, for a person.
    cited : str
        Serial and certificate, for the record.
    sha256 : str
        Digest of its register entry, by which the record cites it; empty where it has none.
    corrections : CorrectedThermometer
    handheld : Handheld or None
        How it is set and what it sees; None of one outside the register.
    refusal : str
        Why nothing may rest on it; empty where something may.
    is_simulated : bool
        Whether its corrections come of a simulated bench.
    """

    serial: str
    words: str
    cited: str
    sha256: str
    corrections: CorrectedThermometer
    handheld: Handheld | None = None
    refusal: str = ""
    is_simulated: bool = False

    @property
    def band(self) -> PlanckBand:
        """What it sees; of one outside the register what most see."""
        return EIGHT_TO_FOURTEEN_UM if self.handheld is None else self.handheld.band

    def refusal_at(self, set_emissivity: float) -> str:
        """Why it cannot be used with that setting, with the next step; empty where it can."""
        return "" if self.handheld is None else self.handheld.refusal_at(set_emissivity)


AS_BOUGHT = SpotThermometer(
    serial="",
    words=f"another one, as bought: within {AS_BOUGHT_K:g} K (assumed)",
    cited=f"a thermometer outside the register, within {AS_BOUGHT_K:g} K (assumed)",
    sha256="",
    corrections=CorrectedThermometer(resolution_k=_LAST_DIGIT_K, accuracy_k=AS_BOUGHT_K),
)


def spot_thermometers(store: Store, settings: Settings, *, today: date) -> tuple[SpotThermometer, ...]:
    """Infrared thermometers of the register, then one as bought."""
    months = settings.recalibration_months
    known = [
        _of(
            standing.in_force.content,
            standing.refusal(today, months) or adjusted_since_in_use(store, standing),
            standing.in_force.sha256,
            is_simulated=standing.in_force.simulated,
        )
        for standing in store.register.standings()
        if standing.kind is InstrumentKind.INFRARED and not standing.is_retired
    ]
    return (*sorted(known, key=lambda one: (bool(one.refusal), one.serial)), AS_BOUGHT)


def chosen_thermometer(serial: str, among: Sequence[SpotThermometer]) -> SpotThermometer | None:
    """The one of a serial, None where there is none."""
    return next((one for one in among if one.serial == serial), None)


def _of(content: Mapping[str, Any], refusal: str, sha256: str, *, is_simulated: bool) -> SpotThermometer:
    serial, certificate = str(content["serial"]), str(content["certificate"])
    handheld = handheld_of(content)
    simulated = " (simulated)" if is_simulated else ""
    return SpotThermometer(
        serial=serial,
        words=f"{serial}, {_told(certificate, handheld)}{simulated}",
        cited=f"thermometer {serial}, certificate {certificate}{simulated}",
        sha256=sha256,
        corrections=handheld.thermometer,
        handheld=handheld,
        refusal=refusal or _unknown_setting(serial, certificate, handheld) or _other_band(serial, handheld),
        is_simulated=is_simulated,
    )


def _unknown_setting(serial: str, certificate: str, handheld: Handheld) -> str:
    if not handheld.has_unknown_setting:
        return ""
    return (
        f"The register does not say which emissivity {serial} was set to when it was calibrated, and its "
        f"corrections hold for that setting alone: add certificate {certificate} again with it."
    )


def _told(certificate: str, handheld: Handheld) -> str:
    """What it is corrected by, and what for."""
    if not handheld.thermometer.points:
        return "by its maker's word"
    setting = handheld.certified_emissivity
    at = "" if setting is None else f"set to {setting:g}, "
    return f"{at}{handheld.thermometer.certified_range}, certificate {certificate}"


def _other_band(serial: str, handheld: Handheld) -> str:
    band = handheld.band
    if band.from_um >= SHORTEST_UM:
        return ""
    return (
        f"{serial} sees {band.from_um:g} to {band.to_um:g} µm, and the emissivities of surfaces that are "
        "kept here are of 8 to 14 µm: read the spot with a thermometer of that band."
    )
