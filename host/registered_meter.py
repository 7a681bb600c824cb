"""A resistance meter of the register: what a check of its own, or a typed sender check, rests on."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from calibration.resistance.metered import LEADS_NOT_READ_OHM, Metered, metered
from calibration.resistance.ohmmeter import CertifiedReading, Ohmmeter
from calibration.rounding import two_digits
from host.certificates.certificate import InstrumentUsed
from host.store import Store
from host.store.instrument_kind import InstrumentKind
from host.store.settings import Settings


def ohmmeter_of(content: Mapping[str, Any]) -> Ohmmeter:
    """Resistance meter of a register entry."""
    return Ohmmeter(
        points=tuple(
            CertifiedReading(
                shown_ohm=float(row["shown_ohm"]),
                correction_ohm=float(row["correction_ohm"]),
                expanded_u_ohm=float(row["expanded_u_ohm"]),
            )
            for row in content["point"]
        ),
        k=float(content["k"]),
    )


def meter_used(content: Mapping[str, Any]) -> InstrumentUsed:
    """A resistance meter as a certificate names it."""
    percent = [100.0 * float(row["expanded_u_ohm"]) / float(row["shown_ohm"]) for row in content["point"]]
    span = dict.fromkeys(f"{two_digits(u)} %" for u in (min(percent), max(percent)))
    return InstrumentUsed(
        role="resistance meter",
        serial=str(content["serial"]),
        certificate=f"{content['certificate']}, {content['issuer']}",
        expanded_u=f"{' to '.join(span)} of the value (k = {float(content['k']):g})",
        due=str(content.get("due", "no date set")),
    )


def meter_in_force(store: Store, serial: str, *, settings: Settings, today: date) -> Mapping[str, Any]:
    """Register entry of the meter of a serial.

    Raises
    ------
    DeskError
        If the register holds none of it, or nothing may rest on it.
    """
    return store.register.usable_one(
        InstrumentKind.METER, serial, today=today, months_by_kind=settings.recalibration_months
    ).content


def meters_of(store: Store, *, settings: Settings, today: date) -> tuple[tuple[str, str], ...]:
    """Serial and words of every meter of the register that is not retired; those that are refused last."""
    known = [one for one in store.register.standings() if one.kind is InstrumentKind.METER]
    choices = []
    for standing in known:
        if standing.is_retired:
            continue
        certificate = standing.in_force.certificate
        is_refused = standing.refusal(today, settings.recalibration_months) is not None
        said = "nothing may rest on it" if is_refused else f"certificate {certificate}"
        choices.append((is_refused, standing.serial, f"{standing.serial}, {said}"))
    return tuple((serial, words) for _, serial, words in sorted(choices))


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedMeter:
    """The meter that somebody read, with its certificate.

    Attributes
    ----------
    content : Mapping[str, Any]
        Register entry.
    leads_ohm : float or None
        What it showed with its leads joined; None where nobody looked. [Ω]
    """

    content: Mapping[str, Any]
    leads_ohm: float | None = None

    @property
    def serial(self) -> str:
        """By which the register knows it."""
        return str(self.content["serial"])

    @property
    def simulated(self) -> bool:
        """Whether it exists in simulation only."""
        return bool(self.content.get("simulated", False))

    @property
    def words(self) -> str:
        """What was done with its readings."""
        leads = (
            f"its leads and clips, not read, are taken to put 0 to {LEADS_NOT_READ_OHM:g} Ω on top"
            if self.leads_ohm is None
            else f"{self.leads_ohm:g} Ω of leads taken off"
        )
        return (
            f"Resistances are corrected by certificate {self.content['certificate']} "
            f"({self.content['issuer']}) of the meter {self.serial}; {leads}."
        )

    def read(self, shown_ohm: float, *, last_digit_ohm: float, per_ohm: float = 1.0) -> Metered:
        """What stands behind a reading of it.

        Raises
        ------
        OhmmeterError
            If its certificate does not reach there.
        """
        return metered(
            shown_ohm,
            ohmmeter_of(self.content),
            last_digit_ohm=last_digit_ohm,
            leads_ohm=self.leads_ohm,
            per_ohm=per_ohm,
        )
