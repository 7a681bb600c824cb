"""Chance for the simulated bench: streams drawn from one seed, normal numbers in blocks for speed."""

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
        )
    )
}


def generator(seed: int, stream: str, *more: int) -> np.random.Generator:
    """Generator of one stream; the same arguments always give the same numbers."""
    return np.random.default_rng([seed, STREAMS[stream], *more])


class NormalNumbers:
    """Standard normal numbers, one at a time, drawn a block at a time."""

    __slots__ = ("_block", "_chance", "_index")

    def __init__(self, chance: np.random.Generator) -> None:
        self._chance = chance
        self._block: list[float] = []
        self._index = BLOCK

    def next(self) -> float:
        """One number."""
        if self._index == BLOCK:
            self._block = self._chance.standard_normal(BLOCK).tolist()
            self._index = 0
        number = self._block[self._index]
        self._index += 1
        return number
