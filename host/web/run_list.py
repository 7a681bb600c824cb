"""Rows of the list of runs."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

from calibration.conformity import Verdict
from host.local_time import local_time
from host.procedures.ohms.channel_checks import has_own_check
from host.procedures.run_kind import RunKind
from host.store import Store

# Where it was read, of a run at no station.
_WHERE = {
    RunKind.IN_PLACE: "on the vehicle",
    RunKind.HAND_CHECK: "typed by hand",
    RunKind.INFRARED_CHECK: "infrared, by hand",
    RunKind.PROBE_CHECK: "ice and boiling water",
    RunKind.WITNESS_CHECK: "beside another, by hand",
    RunKind.METER_CHECK: "meter and box, by hand",
    RunKind.STATION_ROUND: "through the stations",
    RunKind.EXERCISE: "for the class",
}

#: What comes to a paper that states nothing.
_WITHOUT_VERDICT = (
    RunKind.IN_PLACE,
    RunKind.CHANNEL_CHECK,
    RunKind.WITNESS_CHECK,
    RunKind.PROBE_CHECK,
    RunKind.METER_CHECK,
    RunKind.STATION_ROUND,
    RunKind.EXERCISE,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RunRow:
    """One run in the list.

    Attributes
    ----------
    station : str or None
    where : str
        Of a run at no station: where it was read.
    verdict : Verdict or None
        Of a run that came to a certificate.
    word : str
        Where it stands: "open", "stopped", or the verdict in words.
    began : str
        Local time of the shop.
    """

    number: int
    station: str | None
    where: str
    item: str
    curve: str
    verdict: Verdict | None
    word: str
    began: str
    simulated: bool


def run_rows(
    store: Store,
    zone: tzinfo | None,
    *,
    kind: RunKind | None = None,
    newest: int | None = None,
    is_shown: Callable[[str], bool] = lambda operator: True,
) -> list[RunRow]:
    """Runs, the newest first, their times in ``zone``.

    Parameters
    ----------
    store : Store
    zone : tzinfo or None
    kind : RunKind, optional
        Only those of a kind.
    newest : int, optional
        Only so many.
    is_shown : callable
        Whether the runs of an operator are.
    """
    every = store.runs.all() if kind is None else store.runs.of_kind(kind)
    runs = [run for run in every if is_shown(str(run.settings.get("operator") or ""))]
    verdicts = {
        run: Verdict(word)
        for run, word in (store.drafts.verdicts() | store.certificates.verdicts()).items()
        if word in {verdict.value for verdict in Verdict}
    }
    withdrawn = store.certificates.withdrawn_runs()
    rows = []
    for run in reversed(runs if newest is None else runs[-newest:]):
        verdict = None if run.number in withdrawn else verdicts.get(run.number)
        states_nothing = run.kind in _WITHOUT_VERDICT or run.settings.get("exercise") is not None
        over = "over" if states_nothing else "stopped"
        if run.kind == RunKind.OHMS_CHECK and has_own_check(store, run.number):
            over = "passed"
        if run.number in withdrawn:
            over = "certificate withdrawn"
        word = verdict.words if verdict else "open" if run.ended_utc_s is None else over
        rows.append(
            RunRow(
                number=run.number,
                station=run.station,
                where=_WHERE.get(run.kind, ""),
                item=str(run.settings.get("item", "")),
                curve=str(run.settings.get("curve", "")),
                verdict=verdict,
                word=word,
                began=local_time(run.started_utc_s, zone),
                simulated=_is_simulated(run.settings),
            )
        )
    return rows


def _is_simulated(settings: Mapping[str, Any]) -> bool:
    """Whether a run says so of itself, or a reference of it exists in simulation only."""
    if settings.get("simulated", False):
        return True
    references = (settings.get(name) or {} for name in ("probe", "decade_box"))
    return any(reference.get("simulated", False) for reference in references)
