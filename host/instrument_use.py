"""Where an instrument was used: runs that kept its certificate, and the certificates that rest on them."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from host.procedures.logged import events_of
from host.procedures.run_kind import RunKind
from host.procedures.vehicle import in_place
from host.store import Store
from host.store.certificate_standing import Standing
from host.store.instrument_kind import InstrumentKind
from host.store.instrument_standing import InstrumentStanding
from host.store.register_file import content_text, digest_of
from host.store.runs import Run


@dataclass(frozen=True, slots=True, kw_only=True)
class UseOnPaper:
    """A certificate that rests on an instrument, and how it stands now."""

    number: str
    standing: Standing


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """One run that rests on an instrument.

    Attributes
    ----------
    run : int
    what : str
        The item of the run.
    started_utc_s : float
        [s]
    by_certificate : str
        Certificate of the instrument that it used.
    sha256 : str
        Digest of that certificate's content.
    issued : tuple[UseOnPaper, ...]
        Certificates that came of the run.
    """

    run: int
    what: str
    started_utc_s: float
    by_certificate: str
    sha256: str
    issued: tuple[UseOnPaper, ...]


def uses_of(standing: InstrumentStanding, store: Store) -> tuple[Use, ...]:
    """Runs that used an instrument, the newest first."""
    standings = store.certificates.standings()
    issued: dict[int, list[UseOnPaper]] = {}
    for number, run_number, _ in store.certificates.data():
        issued.setdefault(run_number, []).append(UseOnPaper(number=number, standing=standings[number]))
    uses = []
    for run in reversed(store.runs.all()):
        content = _kept_in(run.settings, standing) or _read_with(run, standing, store)
        if content is not None:
            uses.append(
                Use(
                    run=run.number,
                    what=str(run.settings.get("item", "")),
                    started_utc_s=run.started_utc_s,
                    by_certificate=str(content.get("certificate", "")),
                    sha256=digest_of(content_text(content)),
                    issued=tuple(issued.get(run.number, ())),
                )
            )
    return tuple(uses)


def _read_with(run: Run, standing: InstrumentStanding, store: Store) -> Mapping[str, Any] | None:
    """Content of the thermometer that a spot on the vehicle was read with, where that spot counts."""
    if standing.kind is not InstrumentKind.INFRARED or run.kind != RunKind.IN_PLACE:
        return None
    taken = in_place.state_of(events_of(store, run.number)).taken.values()
    cited = {one.thermometer_sha256 for one in taken}
    entries = (*standing.certificates, *standing.superseded)
    return next((entry.content for entry in entries if entry.sha256 in cited), None)


def _kept_in(settings: Mapping[str, Any], standing: InstrumentStanding) -> Mapping[str, Any] | None:
    """Content of the instrument as a run keeps it by value, under whatever name."""
    for value in settings.values():
        if isinstance(value, Mapping) and (value.get("kind"), value.get("serial")) == (
            standing.kind.value,
            standing.serial,
        ):
            return value
    return None
