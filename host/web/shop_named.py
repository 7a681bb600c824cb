"""Before anything begins that ends in a certificate, the shop has a name: it stands on every one of them."""

from urllib.parse import quote

from flask import Flask, g, redirect, request
from werkzeug.wrappers import Response as AnyResponse

#: Pages that begin such a thing; whoever opens one is led to the name first, before anything is typed.
_BEGINNINGS = frozenset(
    {
        "typed.index",
        "typed.check",
        "in_place.index",
        "in_place.start",
        "infrared.index",
        "infrared.start",
        "probe_check.index",
        "probe_check.check",
        "meter_check.index",
        "meter_check.check",
        "witness_check.index",
        "witness_check.start",
        "rounds.start",
        "stations.start_sender_check",
        "channel.certify",
    }
)


def ask_for_the_shop(app: Flask) -> None:
    """Have a desk ask for the shop's name before the first check; goes behind the door."""
    app.before_request(_lead_to_the_name)


def naming_way(wanted: str) -> str:
    """Address of the page that asks for the shop's name and leads on to ``wanted``."""
    return f"/settings/shop?then={quote(wanted, safe='')}"


def _lead_to_the_name() -> AnyResponse | None:
    if request.endpoint not in _BEGINNINGS or g.settings.shop_name:
        return None
    # What was sent to a station comes from its page, which shows the way in place of the form.
    station = (request.view_args or {}).get("station")
    return redirect(naming_way(f"/stations/{station}" if station else request.path), 303)
