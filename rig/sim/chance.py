"""Chance for the simulated bench: streams drawn from one seed, normal numbers in blocks for speed."""

from collections.abc import Iterator
from itertools import chain, repeat

import numpy as np

BLOCK = 4096

# One stream of chance for each use, so that a new use never changes an old one.
STREAMS = {
    name: number
    for number, name in enumerate(
        (
            "bath",
            "bodies",
            "sender",
            "probe",
            "board",
            "converter",
            "decade_box",
            "papers",
            "wander",
            "noise",
            "contact",
            "artefact",
        )
    )
}


def generator(seed: int, stream: str, *more: int) -> np.random.Generator:
    """Generator of one stream; the same arguments always give the same numbers."""
    return np.random.default_rng([seed, STREAMS[stream], *more])


def normal_numbers(chance: np.random.Generator) -> Iterator[float]:
    """Standard normal numbers without end, drawn a block at a time."""
    return chain.from_iterable(chance.standard_normal(BLOCK).tolist() for _ in repeat(None))
