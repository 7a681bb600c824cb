"""What the passes of a boot say of their rig's clock, kept while they come in."""

from dataclasses import dataclass

from calibration.contract.readings import ReadingPack


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockStep:
    """A rig's clock that was set. ``step_s`` is above 0 where it was set forward. [s]"""

    rig_time_s: float
    step_s: float


@dataclass(slots=True)
class BootClock:
    """Clock of the newest boot that was heard; what an older one says later is left out.

    Attributes
    ----------
    first_synchronised : tuple or None
        Rig time and UTC of its first pass whose clock was synchronised. [s]
    last_step : ClockStep or None
        Newest step of that clock.
    """

    boot: str = ""
    first_synchronised: tuple[float, float] | None = None
    last_step: ClockStep | None = None

    def hear(self, pack: ReadingPack) -> None:
        """Take a pass; those of one boot come in order (protocol, rule 11)."""
        if pack.boot < self.boot:
            return
        if pack.boot > self.boot:
            self.boot, self.first_synchronised, self.last_step = pack.boot, None, None
        if pack.utc_s is not None and self.first_synchronised is None:
            self.first_synchronised = (pack.rig_time_s, pack.utc_s)
        if pack.clock_step_s is not None:
            self.last_step = ClockStep(rig_time_s=pack.rig_time_s, step_s=pack.clock_step_s)
