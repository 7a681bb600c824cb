"""The hidden field that ties a form to the browser it was shown in.

Another site can make a browser send a form here, and the cookie goes along; what it cannot do is read
that cookie or a page of ours, and so it cannot write this field. The key is derived from the token
of the visit: a page that stays open while the desk is started again can still be sent.
"""

import hashlib
import hmac

from flask import Request, g
from markupsafe import Markup

from host.web.scale import SCALE_FIELD
from host.web.visit import given_token, visit_token

FIELD = "form_key"


def form_key() -> Markup:
    """Hidden fields of a form; a global of every template.

    The scale goes along: what is typed on a page is read in the scale which that page showed, also where
    another page has changed it meanwhile.
    """
    fields = Markup('<input type="hidden" name="{}" value="{}">').format(FIELD, key_of(visit_token()))
    scale = getattr(g, "scale", None)
    if scale is None:
        return fields
    return fields + Markup('<input type="hidden" name="{}" value="{}">').format(SCALE_FIELD, scale.value)


def key_of(token: str) -> str:
    """Key of a visit's forms."""
    return hmac.new(token.encode("utf-8"), b"form key", hashlib.sha256).hexdigest()


def needs_key(request: Request) -> bool:
    """Tell whether a request may change something."""
    return request.method not in ("GET", "HEAD", "OPTIONS")


def has_its_key(request: Request) -> bool:
    """Tell whether a form comes from a page that this browser was shown."""
    token = given_token()
    if token is None:
        return False
    given = request.form.get(FIELD, "")
    return hmac.compare_digest(given.encode("utf-8"), key_of(token).encode("utf-8"))
