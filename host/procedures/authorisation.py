"""From a result to paper: let out at once, or kept as a draft until somebody with that role answers for it.

A desk without accounts cannot know who is there: it issues at once, says so on the paper, and leaves a line
to sign on. A desk with accounts keeps a draft; whether the one who measured may authorise it is a rule of
the shop (setting ``own_work``).
"""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace

from host.certificates.as_found import AsFound
from host.certificates.canonical import certificate_from_canonical
from host.certificates.certificate import Certificate
from host.certificates.issue import draft_files_of, files_of
from host.certificates.printable import printable_text
from host.errors import DeskError
from host.local_time import local_day
from host.people.account import name_key
from host.store import Store
from host.store.certificates import IssuedFiles, LetOut, Place
from host.store.drafts import Draft, DraftFiles, draft_name
from host.store.one_paper import AlreadyOnPaperError
from host.store.runs import EventAfter

#: Name of the condition that says how a certificate was authorised.
AUTHORISATION = "authorisation"
OPEN_DESK = "no accounts at this desk: issued by who measured"
BY_ANOTHER = "by somebody else than who measured"
BY_THE_SAME = "by who measured; the rule of the shop allows it"
BY_SOMEBODY = "who measured was not signed in"

#: What an amendment may say anew: words about item and customer, never a number.
AMENDABLE = ("item", "customer", "customer_contact", "place", "received", "item_condition", "next_due")
LONGEST_CHANGE = 300


class AuthorisationError(DeskError):
    """A draft that this person may not let out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a result became: a certificate of that number, or a draft."""

    verdict: str
    number: str | None = None
    draft: int | None = None


def let_out(
    store: Store,
    run: int,
    certificate_of: Callable[[str], Certificate],
    *,
    measured_by: str,
    event: EventAfter | None = None,
) -> Outcome:
    """Issue the certificate of a run at once, or keep it as a draft where this desk has accounts.

    Asked for again, also by two at once, it is the paper that is there.

    Parameters
    ----------
    store : Store
    run : int
    certificate_of : Callable[[str], Certificate]
        Certificate of a number.
    measured_by : str
        Name of the operator.
    event : EventAfter, optional
        Event to append to the run in the same transaction.

    Raises
    ------
    RunWentOnError
        If the run has other events by now than those from which the certificate is made.
    """
    try:
        return _let_out_first(store, run, certificate_of, measured_by, event)
    except AlreadyOnPaperError:
        there = paper_of(store, run)
        if there is None:
            raise
        return there


def paper_of(store: Store, run: int) -> Outcome | None:
    """Certificate of a run, or draft of one, the newest of each; None where it has no paper yet."""
    issued = store.certificates.of_run(run)
    if issued:
        return Outcome(verdict=issued[-1].files.verdict, number=issued[-1].number)
    drafts = store.drafts.of_run(run)
    return Outcome(verdict=drafts[-1].files.verdict, draft=drafts[-1].draft) if drafts else None


def _let_out_first(
    store: Store,
    run: int,
    certificate_of: Callable[[str], Certificate],
    measured_by: str,
    event: EventAfter | None,
) -> Outcome:

    def signed(number: str) -> Certificate:
        certificate = certificate_of(number)
        return replace(certificate, operator=certificate.operator or measured_by)

    if store.people.any():
        verdicts: list[str] = []

        def keep(draft: int) -> DraftFiles:
            files = draft_files_of(signed(draft_name(draft)))
            verdicts.append(files.verdict)
            return files

        draft = store.drafts.add(run, keep, made_by=measured_by, event=event)
        return Outcome(verdict=verdicts[-1], draft=draft)
    return _issue_at_once(store, run, signed, LetOut(), event)


def authorise(store: Store, draft: int, *, by: str) -> str:
    """Let a draft out as a certificate; its number.

    Raises
    ------
    AuthorisationError
        If the rule of the shop wants somebody else for it.
    UnknownDraftError, DraftEndedError, CertificateStateError
        If there is nothing to let out any more.
    """
    found = store.drafts.get(draft)
    if not found.is_waiting:
        raise AuthorisationError(
            f"Draft {draft} was issued already, as certificate {found.number}."
            if found.number
            else f"Draft {draft} was sent back: {found.reason}"
        )
    certificate = _as_left_of_an_issued_one(store, certificate_from_canonical(found.files.canonical_json))
    words = _authorisation_words(store, found, certificate, by)
    today = local_day(store.now(), store.settings.read().zone).isoformat()
    shop = store.settings.read().shop  # it may have been named, or have moved, since it was measured
    certificate = replace(certificate, shop=shop.name, shop_address=shop.address)
    certificate = replace(certificate, authorised_by=by, authorised=today if by else "", draft=False)
    certificate = _with_condition(certificate, words)

    def make(place: Place) -> IssuedFiles:
        return files_of(at_place(_with_logo(store, certificate), place, issued=today), store.seal)

    way = LetOut(by=by, draft=draft, supersedes=found.supersedes)
    return store.certificates.issue(found.run, make, let_out=way)


def may_authorise(store: Store, draft: Draft, *, by: str) -> str:
    """Why a person with the role may not let a draft out; empty where they may."""
    certificate = certificate_from_canonical(draft.files.canonical_json)
    try:
        _authorisation_words(store, draft, certificate, by)
    except AuthorisationError as error:
        return str(error)
    return ""


def amend(store: Store, number: str, texts: dict[str, str], reason: str, *, by: str) -> Outcome:
    """Make a new certificate in the place of an issued one, with other words about item or customer.

    It bears the shop as it is named today, and says so where that is another name or address.
    Numbers are not amended: what was measured stays, or is measured anew.

    Parameters
    ----------
    store : Store
    number : str
        Certificate that is to be superseded.
    texts : dict[str, str]
        New texts by name, of `AMENDABLE`.
    reason : str
        Why.
    by : str
        Who amends; empty at a desk without accounts.

    Raises
    ------
    DeskError
        If nothing is changed, no reason is given, or the certificate is not in force.
    """
    standing = store.certificates.standing(number)
    if not standing.is_in_force:
        raise DeskError(f"Certificate {number} is {standing.words}: only one in force can be amended.")
    issued = store.certificates.get(number)
    old = certificate_from_canonical(issued.files.canonical_json)
    reason = printable_text(reason, "the reason", longest=LONGEST_CHANGE)
    if not reason:
        raise DeskError("Write why it is amended: it stands on the new certificate.")
    changed = {
        name: text
        for name in AMENDABLE
        if (text := printable_text(texts.get(name, getattr(old, name)), name)) != getattr(old, name)
    }
    # Whoever issues it today stands on it: a shop may have moved since, or got its name.
    shop = store.settings.read().shop
    issuer = {"shop": shop.name, "shop_address": shop.address}
    changed |= {name: text for name, text in issuer.items() if text != getattr(old, name)}
    if not changed:
        raise DeskError("Nothing is changed yet: write what the new certificate should say.")
    said = "; ".join(
        f"{name.replace('_', ' ')}: “{getattr(old, name) or 'nothing'}” is now “{text or 'nothing'}”"
        for name, text in changed.items()
    )
    new = replace(
        old,
        **changed,
        supersedes=number,
        change=f"{said}. Why: {reason}",
        authorised_by="",
        authorised="",
    )

    def of_number(other: str) -> Certificate:
        return replace(new, number=other)

    if store.people.any():
        draft = store.drafts.add(
            issued.run,
            lambda count: draft_files_of(of_number(draft_name(count))),
            made_by=by,
            supersedes=number,
        )
        return Outcome(verdict=new.verdict_word, draft=draft)
    return _issue_at_once(store, issued.run, of_number, LetOut(supersedes=number), None)


def at_place(certificate: Certificate, place: Place, *, issued: str) -> Certificate:
    """Certificate with its number, the day, and the head of the chain before it."""
    return replace(
        certificate,
        number=place.number,
        issued=issued,
        previous_number=place.previous_number,
        previous_head=place.previous_head,
    )


def _issue_at_once(
    store: Store,
    run: int,
    certificate_of: Callable[[str], Certificate],
    way: LetOut,
    event: EventAfter | None,
) -> Outcome:
    verdicts: list[str] = []
    today = local_day(store.now(), store.settings.read().zone).isoformat()

    def make(place: Place) -> IssuedFiles:
        certificate = _with_condition(_with_logo(store, certificate_of(place.number)), OPEN_DESK)
        verdicts.append(certificate.verdict_word)
        return files_of(at_place(certificate, place, issued=today), store.seal)

    number = store.certificates.issue(run, make, event=event, let_out=way)
    return Outcome(verdict=verdicts[-1], number=number)


def _with_logo(store: Store, certificate: Certificate) -> Certificate:
    """With the shop's picture as it is set today; none where there is none."""
    logo = store.pictures.logo()
    return replace(certificate, logo=b"" if logo is None else logo.data)


def _with_condition(certificate: Certificate, words: str) -> Certificate:
    kept = tuple(one for one in certificate.conditions if one[0] != AUTHORISATION)
    return replace(certificate, conditions=(*kept, (AUTHORISATION, words)))


def _authorisation_words(store: Store, draft: Draft, certificate: Certificate, by: str) -> str:
    if not by:
        return OPEN_DESK
    operator = certificate.operator or str(store.runs.get(draft.run).settings.get("operator") or "")
    did_it = {name_key(name) for name in (draft.made_by, operator) if name}
    if not did_it:
        return BY_SOMEBODY
    if name_key(by) not in did_it:
        return BY_ANOTHER
    if not store.settings.read().own_work:
        raise AuthorisationError(
            f"{by} measured or amended this: in this shop somebody else authorises it (setting own_work)."
        )
    return BY_THE_SAME


def _as_left_of_an_issued_one(store: Store, certificate: Certificate) -> Certificate:
    """Name the first check of the same sender by its certificate, where it was a draft at the time."""
    found = certificate.as_found
    if found is None or not found.number.startswith("draft "):
        return certificate
    first = store.drafts.get(int(found.number.removeprefix("draft ")))
    if first.number is None:
        raise AuthorisationError(
            f"This names {first.name} as found, which is not issued yet: authorise that one first."
        )
    return replace(
        certificate,
        as_found=AsFound(
            **{one.name: getattr(found, one.name) for one in fields(AsFound)} | {"number": first.number}
        ),
        item_condition=certificate.item_condition.replace(found.number, first.number),
    )
