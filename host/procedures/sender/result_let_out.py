"""What a sender check came to, let out once: as a certificate or a draft.

Where a fault was planted it is kept alone, and is never either.
"""

from collections.abc import Callable

from host.certificates.certificate import Certificate
from host.certificates.issue import draft_files_of
from host.local_time import local_day
from host.procedures.authorisation import Outcome, let_out, paper_of
from host.procedures.event import Event
from host.procedures.sender.runner import SenderCheckRunner
from host.procedures.sender.sender_check import Kind
from host.procedures.sender.sender_check_settings import SenderCheckSettings
from host.procedures.sender.sender_result import certificate_of
from host.store import Store


def let_out_result(store: Store, runner: SenderCheckRunner) -> Event:
    """Result of a run that is read, let out once, also where the desk was killed between paper and event.

    Raises
    ------
    DeskError
        If a reference that it rests on failed or ran out meanwhile.
    CertificateError, SealError
        If its certificate cannot be printed or sealed as things stand.
    """
    if runner.state.started.exercise is not None:
        outcome = _kept_without_a_certificate(store, runner)
    else:
        outcome = paper_of(store, runner.run) or _let_out(store, runner)
    payload = {"verdict": outcome.verdict, "certificate": outcome.number, "draft": outcome.draft}
    return Event(kind=Kind.RESULT, payload=payload)


def _kept_without_a_certificate(store: Store, runner: SenderCheckRunner) -> Outcome:
    """Keep what a run with a planted fault came to; nothing of it is ever a certificate."""
    kept = store.exercise_results.of_run(runner.run)
    if kept is None:
        _refuse_lost_references(store, runner.state.started)
        kept = draft_files_of(_made_by(store, runner)(f"exercise {runner.state.started.exercise}"))
        store.exercise_results.keep(runner.run, kept)
    return Outcome(verdict=kept.verdict)


def _let_out(store: Store, runner: SenderCheckRunner) -> Outcome:
    started = runner.state.started
    _refuse_lost_references(store, started)
    return let_out(store, runner.run, _made_by(store, runner), measured_by=started.operator)


def _made_by(store: Store, runner: SenderCheckRunner) -> Callable[[str], Certificate]:
    """Certificate of a number, in the name of the shop as it is set now."""
    shop = store.settings.read().shop

    def of_number(number: str) -> Certificate:
        return certificate_of(runner.state, runner.readings_of, number=number, shop=shop, run=runner.run)

    return of_number


def _refuse_lost_references(store: Store, settings: SenderCheckSettings) -> None:
    """Issue nothing that rests on a reference which failed or ran out while the run went on."""
    kept = store.settings.read()
    today = local_day(store.now(), kept.zone)
    for content in (settings.probe, settings.decade_box):
        store.register.refuse_if_lost(content, today=today, months_by_kind=kept.recalibration_months)
