"""What a form asks about how an item came to the shop: contact, place of the work, day of receipt."""

from collections.abc import Mapping

from host.certificates.printable import is_day

#: Fields and what they mean, where a text cannot be taken.
BROUGHT_IN = {
    "customer_contact": "how the customer is reached",
    "place": "the place",
    "received": "the day it came in",
}


def brought_in_errors(typed: Mapping[str, str]) -> dict[str, str]:
    """Words for a day that is none."""
    text = typed["received"]
    if not text or is_day(text):
        return {}
    words = "Write the day as year, month and day, for example 2026-11-26, or leave it empty."
    return {"received": words}
