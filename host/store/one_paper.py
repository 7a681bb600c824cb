"""One paper of each run: a second certificate or draft of the same measurement is never made.

An amendment says that it takes the place of another; only such a paper comes beside one that is there.
"""

from sqlalchemy import Connection, select

from host.errors import DeskError
from host.store import schema


class AlreadyOnPaperError(DeskError):
    """A run that has its certificate, or a draft of one, already."""


def refuse_second_paper(connection: Connection, run: int, *, draft: int | None = None) -> None:
    """Make sure, in the caller's transaction, that a run has no paper yet.

    Parameters
    ----------
    connection : Connection
    run : int
    draft : int, optional
        Draft of this run that is let out just now; others beside it were made by an earlier version.

    Raises
    ------
    AlreadyOnPaperError
        If it has.
    """
    certificates, drafts = schema.certificates, schema.drafts
    number = connection.execute(
        select(certificates.c.number).where(certificates.c.run == run).limit(1)
    ).scalar_one_or_none()
    if number is not None:
        raise AlreadyOnPaperError(
            f"Run {run:04d} has a certificate already, {number}: one measurement has one paper. Amend that "
            "one, or measure again."
        )
    if draft is not None:
        return
    kept = connection.execute(select(drafts.c.draft).where(drafts.c.run == run).limit(1)).scalar_one_or_none()
    if kept is not None:
        raise AlreadyOnPaperError(
            f"Run {run:04d} has a draft already, {kept}: one measurement has one paper. Authorise that one, "
            "or measure again."
        )
