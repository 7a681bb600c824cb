"""An ohms check that is over as its page shows it: what was found, and the way to its paper."""

from dataclasses import dataclass

from calibration.resistance.ohms_check import OhmsCheckError
from host.certificates.certificate import Certificate
from host.errors import DeskError
from host.procedures.ohms.channel_certificate import channel_certificate
from host.procedures.ohms.channel_checks import channel_settings, paper_run_of
from host.procedures.ohms.passed_ohms_checks import MadeCheck
from host.store import Store
from host.web.kind_result_view import KindResultView, view_without_paper
from host.web.scale import Scale

#: Stands for the number of a paper that is not made.
_NO_NUMBER = "not issued"


@dataclass(frozen=True, slots=True, kw_only=True)
class OhmsCheckView:
    """What the page shows.

    Attributes
    ----------
    made : MadeCheck
    result : KindResultView
        The same tables, chart and budgets as its paper has.
    paper_run : int or None
        Run of the certificate of the channel, where one was asked for.
    """

    made: MadeCheck
    result: KindResultView
    paper_run: int | None


def ohms_check_view(store: Store, made: MadeCheck, scale: Scale) -> OhmsCheckView:
    """Page of a passed check.

    Raises
    ------
    DeskError
        If its readings do not pass by today's limits.
    """
    try:
        certificate: Certificate = channel_certificate(
            channel_settings(made, operator=made.operator),
            store.readings_of,
            number=_NO_NUMBER,
            shop=store.settings.read().shop,
            run=made.run,
        )
    except OhmsCheckError as error:
        raise DeskError(f"It passed when it was made, and would not today: {error}") from error
    return OhmsCheckView(
        made=made,
        result=view_without_paper(certificate, scale),
        paper_run=paper_run_of(store, made.run),
    )
