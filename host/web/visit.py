"""The one cookie that carries authority: a random token that says which browser this is.

Signed in, its digest leads to the session that the desk keeps; before that it only ties forms to the
browser that was shown them. Signing in takes a fresh one, so that nobody can hand a browser a token
beforehand and come in with it afterwards.
"""

import re

from flask import Response, g, request

from host.people.session import LONGEST_S, new_token

COOKIE = "ohmbath-visit"
_TOKEN = re.compile(r"[A-Za-z0-9_-]{43}")


def given_token() -> str | None:
    """Token that this browser sent along."""
    given = request.cookies.get(COOKIE, "")
    return given if _TOKEN.fullmatch(given) else None


def visit_token() -> str:
    """Token of this browser, made now where it has none; asked for by a form alone.

    Not by every answer: a style sheet's would take the place of the page's that it belongs to.
    """
    if "visit_token" not in g:
        given = given_token()
        g.visit_token = given or new_token()
        g.visit_is_new = given is None
    token: str = g.visit_token
    return token


def begin_new_visit(token: str) -> None:
    """Take another token from the answer to this request on."""
    g.visit_token, g.visit_is_new = token, True


def remember_visit(response: Response) -> None:
    """Hand a new token to the browser."""
    if g.get("visit_is_new", False):
        response.set_cookie(
            COOKIE,
            g.visit_token,
            max_age=int(LONGEST_S),
            httponly=True,
            samesite="Lax",
            secure=request.is_secure,
        )
