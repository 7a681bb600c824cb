"""Results that finished sender checks hold of a sender that goes round."""

from dataclasses import dataclass

from calibration.comparison import ComparisonError
from calibration.station_round import StatedValue
from host.certificates.bodies.sender import SenderBody
from host.certificates.canonical import certificate_from_canonical
from host.certificates.certificate import Certificate
from host.errors import DeskError
from host.people.account import name_key
from host.procedures.run_kind import RunKind
from host.store import Store

#: A check counts for a temperature that it read no further away. [K]
MOST_APART_K = 2.0
#: So many of the newest checks are looked through.
_NEWEST = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedError:
    """The error of a sender at one temperature of a finished check.

    Attributes
    ----------
    run : int
    station : str
    item : str
        As it was called there.
    paper : str
        Its certificate, or its draft.
    temperature_c : float
        [°C]
    stated : StatedValue
        Indicated minus true. [K]
    is_simulated : bool
    """

    run: int
    station: str
    item: str
    paper: str
    temperature_c: float
    stated: StatedValue
    is_simulated: bool

    @property
    def words(self) -> str:
        """How the result of a round was come by."""
        return (
            f"run {self.run:04d}, {self.paper}, read at {self.temperature_c:.1f} °C and called there "
            f"“{self.item}”"
        )


def finished_checks(store: Store, *, curve: str, at_c: float) -> list[CheckedError]:
    """Finished sender checks of stations by a curve that read near a temperature, the newest first."""
    runs = [run for run in store.runs.of_kind(RunKind.SENDER_CHECK) if run.ended_utc_s is not None]
    found = []
    for run in reversed(runs[-_NEWEST:]):
        if run.settings.get("curve") != curve or run.station is None:
            continue
        paper = _paper_of(store, run.number)
        if paper is None:
            continue
        try:
            found.append(_error_at(paper, at_c, curve=curve, run=run.number, station=run.station))
        except DeskError:
            continue
    return found


def is_of(check: CheckedError, artefact: str) -> bool:
    """Whether a check was of the artefact, by its name."""
    return name_key(check.item) == name_key(artefact)


def certified_error(store: Store, number: str, *, curve: str, at_c: float) -> CheckedError:
    """Error of a sender by an issued certificate, as a reference.

    Raises
    ------
    DeskError
        If there is none of that number, it no longer holds, or says nothing of that temperature and curve.
    """
    issued = store.certificates.get(number)
    standing = store.certificates.standing(number)
    if not standing.is_in_force:
        raise DeskError(f"Certificate {number} is {standing.words}: take one that is in force.")
    certificate = certificate_from_canonical(issued.files.canonical_json)
    station = store.runs.get(issued.run).station or ""
    return _error_at(certificate, at_c, curve=curve, run=issued.run, station=station)


def _error_at(certificate: Certificate, at_c: float, *, curve: str, run: int, station: str) -> CheckedError:
    name = certificate.number if certificate.draft else f"certificate {certificate.number}"
    if not isinstance(certificate.body, SenderBody):
        raise DeskError(f"{name} is of no sender: it holds no error of one.")
    if certificate.body.curve != curve:
        raise DeskError(
            f"{name} is by the curve {certificate.body.curve}, and this round by {curve}: an error by "
            "another curve is another quantity."
        )
    nearest = min(certificate.body.points, key=lambda point: abs(point.temperature_c - at_c))
    if abs(nearest.temperature_c - at_c) > MOST_APART_K:
        raise DeskError(
            f"{name} has nothing within {MOST_APART_K:g} K of {at_c:g} °C; the nearest is "
            f"{nearest.temperature_c:.1f} °C."
        )
    try:
        stated = StatedValue(value=nearest.error_k, expanded_u=nearest.expanded_u_k, k=nearest.k)
    except ComparisonError as error:
        raise DeskError(f"{name}: {error}") from error
    return CheckedError(
        run=run,
        station=station,
        item=certificate.item,
        paper=name,
        temperature_c=nearest.temperature_c,
        stated=stated,
        is_simulated=certificate.simulated,
    )


def _paper_of(store: Store, run: int) -> Certificate | None:
    """Newest certificate of a run that holds, else the draft that waits to become one."""
    holding = [
        one for one in store.certificates.of_run(run) if store.certificates.standing(one.number).is_in_force
    ]
    waiting = [draft for draft in store.drafts.of_run(run) if draft.is_waiting]
    files = [one.files.canonical_json for one in holding] or [one.files.canonical_json for one in waiting]
    return certificate_from_canonical(files[-1]) if files else None
