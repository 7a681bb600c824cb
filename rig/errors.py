"""What can go wrong at the rig, in words for the person at the bench.

RigError
├── WiringError             hardware/wiring.toml breaks a rule
├── OrderRefused            an order that cannot be carried out; nothing has changed
│   ├── DecadeBoxSettingError
│   └── HandsRefused        the hands at a simulated bath were asked for something they cannot do
├── ReadingUnusable         a chip answered, or did not, in a way that must not become a reading
├── RelayError              a relay chip does not hold what was written to it
├── PlantError              a fault to be planted that does not exist
└── SavedWorldError         a simulated bench that was put away cannot be taken up again
"""

from calibration.contract.readings import Quality


class RigError(Exception):
    """Base of all errors of the rig."""


class WiringError(RigError):
    """The wiring file breaks a rule; names the key and what to do."""


class OrderRefused(RigError):  # noqa: N818 - says what happened, in the words of the wire
    """An order that cannot be carried out. Nothing has changed.

    Attributes
    ----------
    reason : str
        Words for the answer.
    """

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


class DecadeBoxSettingError(OrderRefused):
    """A resistance off the grid of the decade box."""

    def __init__(self, resistance_ohm: float, *, highest_ohm: float) -> None:
        super().__init__(
            f"Cannot set {resistance_ohm:g} Ω: this box makes 0 to {highest_ohm:g} Ω in 1 Ω steps. "
            "Choose a value on that grid."
        )
        self.resistance_ohm = resistance_ohm
        self.highest_ohm = highest_ohm


class HandsRefused(OrderRefused):
    """Something that the hands at a simulated bath cannot do."""


class ReadingUnusable(RigError):  # noqa: N818 - not an error of the program: a word about a reading
    """A chip answered, or did not, in a way that must not become a reading.

    Attributes
    ----------
    quality : Quality
        The word for it; never ``good``.
    reason : str
        What, and where to look.
    raw : float or None
        Raw count, where there was one. [count]
    """

    def __init__(self, quality: Quality, reason: str, *, raw: float | None = None) -> None:
        super().__init__(reason)
        self.quality = quality
        self.reason = reason
        self.raw = raw


class RelayError(RigError):
    """A relay chip does not hold what was written to it."""


class PlantError(RigError):
    """A fault to be planted that does not exist, or whose size cannot be."""


class SavedWorldError(RigError):
    """A simulated bench that was put away cannot be taken up again."""
