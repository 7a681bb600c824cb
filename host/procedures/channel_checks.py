"""Certificates of resistance channels: asked for at a run whose ohms check was its own, issued once."""

from collections.abc import Sequence

from calibration.contract.readings import ReadingPack
from host.certificates.certificate import Certificate
from host.citation import Citation
from host.errors import DeskError
from host.procedures.authorisation import let_out
from host.procedures.channel_certificate import ChannelSettings, channel_certificate
from host.procedures.logged import events_of
from host.procedures.reused_check import ReusedCheck
from host.procedures.run_kind import RunKind
from host.procedures.sender_check import Kind, state_of
from host.store import Store

STARTED = "started"


def has_own_check(store: Store, run: int) -> bool:
    """Whether a run is a sender check that passed an ohms check of its own."""
    if store.runs.kind_of(run) != RunKind.SENDER_CHECK:
        return False
    return _own_check(store, run) is not None


def certify_channel(store: Store, of_run: int, *, operator: str) -> int:
    """Issue the certificate of a station's channel from a run's ohms check; the run that holds it.

    Asked for again, it is the same.

    Raises
    ------
    DeskError
        If the run made no ohms check of its own.
    """
    check = _own_check(store, of_run) if store.runs.kind_of(of_run) == RunKind.SENDER_CHECK else None
    if check is None:
        raise DeskError(f"Run {of_run:04d} passed no ohms check of its own: ask at the run that it rests on.")
    made = next(
        (
            run
            for run in store.runs.all()
            if run.kind == RunKind.CHANNEL_CHECK and run.settings["check"]["run"] == of_run
        ),
        None,
    )
    if made is not None:
        run, settings = made.number, ChannelSettings.from_json(made.settings)
    else:
        started = state_of(events_of(store, of_run)).started
        settings = ChannelSettings(
            station=started.station, operator=operator, decade_box=started.decade_box, check=check
        )
        run = store.runs.create(
            station=settings.station, kind=RunKind.CHANNEL_CHECK, settings=settings.as_json()
        )
        store.runs.append(run, STARTED, {"settings": settings.as_json()})
    if not store.certificates.of_run(run) and not store.drafts.of_run(run):
        _let_out(store, run, settings)
    store.runs.end(run)
    return run


def _let_out(store: Store, run: int, settings: ChannelSettings) -> None:
    shop = store.settings.read().shop

    def readings_of(cited: Citation) -> Sequence[ReadingPack]:
        return store.readings(cited.station, cited.boot, cited.first, cited.last)

    def of_number(number: str) -> Certificate:
        return channel_certificate(settings, readings_of, number=number, shop=shop, run=run)

    let_out(store, run, of_number, measured_by=settings.operator)


def _own_check(store: Store, run: int) -> ReusedCheck | None:
    timed = store.runs.timed_events(run)
    passed = [event.appended_utc_s for event in timed if event.kind == Kind.OHMS_CHECKED]
    state = state_of(events_of(store, run))
    if not passed or state.settings is None or state.settings.ohms_check is not None:
        return None
    return ReusedCheck(run=run, checked_utc_s=passed[0], plan=state.plan, box_read=state.box_read)
