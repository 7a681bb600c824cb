"""How much of a run a page had shown when one of its forms was sent.

Its forms carry how many events it was made of (`seen` in the template): what is added follows these and no
others, so that a form that comes twice, or from a page which somebody else has overtaken, adds nothing.
"""

from flask import request

from host.web.number_in_form import number_of

FIELD = "seen"


def seen() -> int | None:
    """Events of the run that the page had been made of; None where its form does not say."""
    return request.form.get(FIELD, type=number_of)
