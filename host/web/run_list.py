"""Rows of the list of runs."""

from dataclasses import dataclass
from datetime import datetime

from calibration.conformity import Verdict
from host.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class RunRow:
    """One run in the list.

    Attributes
    ----------
    verdict : Verdict or None
        Of a run that came to a certificate.
    word : str
        Where it stands: "open", "stopped", or the verdict in words.
    began : str
        Local time of the desk.
    """

    number: int
    station: str
    item: str
    curve: str
    verdict: Verdict | None
    word: str
    began: str
    simulated: bool


def run_rows(store: Store) -> list[RunRow]:
    """All runs, the newest first."""
    verdicts = {run: Verdict(word) for run, word in store.certificates.verdicts().items()}
    rows = []
    for run in reversed(store.runs.all()):
        verdict = verdicts.get(run.number)
        word = verdict.words if verdict else "open" if run.ended_utc_s is None else "stopped"
        rows.append(
            RunRow(
                number=run.number,
                station=run.station,
                item=str(run.settings.get("item", "")),
                curve=str(run.settings.get("curve", "")),
                verdict=verdict,
                word=word,
                began=local_time(run.started_utc_s),
                simulated=bool(dict(run.settings.get("probe", {})).get("simulated", False)),
            )
        )
    return rows


def local_time(utc_s: float) -> str:
    """UTC seconds as the clock on the desk's wall shows them."""
    return datetime.fromtimestamp(utc_s).astimezone().strftime("%Y-%m-%d %H:%M")
