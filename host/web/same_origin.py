"""Only pages of this desk may change anything at this desk.

Beside the key in every form (`host.web.form_key`): a browser says where a request that changes something
comes from (``Sec-Fetch-Site``, ``Origin``). The name the browser used is checked too, or another site
could give its own name to this machine's address and call itself the same origin.
"""

from urllib.parse import urlsplit

from flask import Request

from host.web.reach import Reach, is_loopback

_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})


def refusal(request: Request, reach: Reach, *, asks_nobody: bool) -> str | None:
    """Why a request is not taken, in words; None where it is.

    Parameters
    ----------
    request : Request
    reach : Reach
    asks_nobody : bool
        True where there are no accounts, or a demo asks for none: then only who sits at this machine is
        answered.
    """
    name = urlsplit(f"//{request.host}").hostname or ""
    if not reach.knows(name):
        return (
            f"This desk does not go by the name {request.host!r:.80}. Open it by its address, as the "
            "terminal printed it when the desk was started, or name it there: ohmbath serve --name NAME."
        )
    if asks_nobody and not (reach.is_this_machine_only and is_loopback(name)):
        return (
            "This desk has no accounts, so it only answers on its own machine. "
            "Add one there: ohmbath person add NAME --role authoriser."
        )
    if request.method in _SAFE or _comes_from_here(request):
        return None
    return (
        "This came from a page of another site, so nothing was done. "
        "Open the desk's own page and press there."
    )


def _comes_from_here(request: Request) -> bool:
    site = request.headers.get("Sec-Fetch-Site")
    if site is not None:
        return site in ("same-origin", "none")
    origin = request.headers.get("Origin")
    # A program without a browser sends neither, and a page cannot leave them out.
    return origin is None or urlsplit(origin).netloc == request.host
