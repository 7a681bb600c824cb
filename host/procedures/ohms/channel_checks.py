"""Certificates of resistance channels: asked for at a run whose ohms check was its own, issued once."""

from host.certificates.certificate import Certificate
from host.errors import DeskError
from host.procedures.authorisation import let_out, paper_of
from host.procedures.logged import SENT_TWICE_WITHIN_S
from host.procedures.ohms.channel_certificate import ChannelSettings, channel_certificate
from host.procedures.ohms.passed_ohms_checks import MadeCheck, made_check_of
from host.procedures.run_kind import RunKind
from host.store import Store

STARTED = "started"


def has_own_check(store: Store, run: int) -> bool:
    """Whether a run passed an ohms check of its own, alone or inside a sender check."""
    made = made_check_of(store, run)
    return made is not None and made.checked_utc_s is not None


def channel_settings(made: MadeCheck, *, operator: str) -> ChannelSettings:
    """What the paper of a passed check rests on."""
    return ChannelSettings(
        station=made.station,
        operator=operator,
        decade_box=made.decade_box,
        check=made.as_reused,
        time_zone=made.time_zone,
    )


def paper_run_of(store: Store, of_run: int) -> int | None:
    """Run that holds the paper of the ohms check of another; None where none was asked for."""
    return next(
        (
            run.number
            for run in store.runs.of_kind(RunKind.CHANNEL_CHECK)
            if run.settings["check"]["run"] == of_run
        ),
        None,
    )


def certify_channel(store: Store, of_run: int, *, operator: str) -> int:
    """Issue the certificate of a station's channel from a run's ohms check; the run that holds it.

    Asked for again, it is the same.

    Raises
    ------
    DeskError
        If the run made no ohms check of its own.
    """
    check = made_check_of(store, of_run)
    if check is None or check.checked_utc_s is None:
        raise DeskError(f"Run {of_run:04d} passed no ohms check of its own: ask at the run that it rests on.")
    made = paper_run_of(store, of_run)
    if made is not None:
        run, settings = made, ChannelSettings.from_json(store.runs.get(made).settings)
    else:
        settings = channel_settings(check, operator=check.operator or operator)
        run = store.runs.create(
            station=settings.station,
            kind=RunKind.CHANNEL_CHECK,
            settings=settings.as_json(),
            same_within_s=SENT_TWICE_WITHIN_S,
        )
        store.runs.append(run, STARTED, {"settings": settings.as_json()}, after=0)
    if paper_of(store, run) is None:
        _let_out(store, run, settings)
    store.runs.end(run)
    return run


def _let_out(store: Store, run: int, settings: ChannelSettings) -> None:
    shop = store.settings.read().shop

    def of_number(number: str) -> Certificate:
        return channel_certificate(settings, store.readings_of, number=number, shop=shop, run=run)

    let_out(store, run, of_number, measured_by=settings.operator)
