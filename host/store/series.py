"""Series of certificate numbers: a store that goes on from a backup opens a new one.

What the lost store issued after that backup is not known, so its numbers cannot be counted on. Within a
series numbers have no gaps; the series itself tells the numbers of both stores apart.
"""

import secrets

# Without letters that are read for others.
_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
_RANDOM = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
_RANDOM_LENGTH = 3

#: The first series of a store: its numbers are digits alone.
FIRST_SERIES = ""


def next_series(opened_before: int) -> str:
    """Name of a new series: a letter that counts, and three drawn ones.

    The drawn ones tell two stores apart that were made of one backup.

    Parameters
    ----------
    opened_before : int
        How many series were opened before, without the first.
    """
    counted = _LETTERS[(opened_before + 1) % len(_LETTERS)]
    return counted + "".join(secrets.choice(_RANDOM) for _ in range(_RANDOM_LENGTH))


def number_in(series: str, count: int) -> str:
    """Number of a certificate, as it is printed."""
    return f"{series}-{count:06d}" if series else f"{count:06d}"


def counter_of(series: str) -> str:
    """Name of the counter of a series."""
    return f"certificate {series}" if series else "certificate"
