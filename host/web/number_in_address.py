"""Numbers in addresses: runs, exercises, accounts and whatever else is counted from 1."""

from werkzeug.routing import IntegerConverter


class NumberInAddress(IntegerConverter):
    """Up to nine plain digits; a longer number is one that no store can hold, so the page is not there."""

    regex = "[0-9]{1,9}"
