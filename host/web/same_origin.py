"""Only pages of this desk may change anything at this desk.

No cookie here carries any authority: the one there is says °C or °F. So a forged request has nothing
to steal, and what has to be stopped is another site's page pressing a button at the bench. A browser
says where a request that changes something comes from (``Sec-Fetch-Site``, ``Origin``); on loopback
that is enough. The name the browser used is checked too, or another site could give its own name to
this machine's address and call itself the same origin.
"""

import ipaddress
import socket
from urllib.parse import urlsplit

from flask import Request

_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})


def refusal(request: Request) -> str | None:
    """Why a request is not taken, in words; None where it is."""
    if not _names_this_machine(request.host):
        return (
            f"This desk does not go by the name {request.host!r:.80}. Open it by its address, "
            "as the terminal printed it when the desk was started."
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


def _names_this_machine(host: str) -> bool:
    name = urlsplit(f"//{host}").hostname or ""
    own = socket.gethostname().lower()
    if name in ("localhost", own, f"{own}.local"):
        return True
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True
