"""The way to the sign-in page and back to where somebody wanted to go."""

from urllib.parse import quote, urlsplit

_LONGEST_WAY = 500


def sign_in_way(wanted: str) -> str:
    """Address of the sign-in page that leads on to ``wanted``."""
    return "/sign-in" if safe_way(wanted) == "/" else f"/sign-in?next={quote(wanted, safe='')}"


def safe_way(wanted: str) -> str:
    """``wanted`` where it is a path of this desk, else the first page: nobody is led to another site."""
    is_plain = (
        len(wanted) <= _LONGEST_WAY and wanted.isascii() and wanted.isprintable() and "\\" not in wanted
    )
    if not is_plain or not wanted.startswith("/") or wanted.startswith("//"):
        return "/"
    try:
        parts = urlsplit(wanted)
    except ValueError:
        return "/"
    return "/" if parts.scheme or parts.netloc else wanted
