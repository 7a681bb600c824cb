"""What a self-test in progress knows: the bench, what was found so far, and how to read it."""

import math
from dataclasses import dataclass
from statistics import fmean

from calibration.contract.readings import Insertion, Quality
from rig.bench import Bench, BenchSample
from rig.wiring import RangeWiring, Wiring

FULL_SCALE_COUNT = 4096.0
PASSES_OF_A_READING = 3
PASSES_OF_A_DOUBTFUL_READING = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class PartVerdict:
    """What the self-test says of one part.

    Attributes
    ----------
    check_first : str or None
        Where to look first; None for a good part.
    """

    part: str
    ok: bool
    check_first: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SelfTestReport:
    """All parts that were judged, and those that could not be, with the reason."""

    parts: tuple[PartVerdict, ...]
    not_judged: tuple[tuple[str, str], ...]
    simulated: bool

    @property
    def ok(self) -> bool:
        """Tell whether no part failed."""
        return all(each.ok for each in self.parts)


class Trial:
    """One run of the self-test.

    Attributes
    ----------
    converter_works, box_answers : bool
        Whether readings, and the box, can be used at all.
    closes : dict
        Places of the box that were seen to close.
    residual_ohm : float
        The box with nothing switched in, as read. [Ω]
    is_noisy, box_is_off : bool
        Readings scatter, or a step of the box is wrong: no range is judged by it.
    welded_place : str or None
        Place at which the box stands though no relay is pulled in.
    """

    def __init__(self, bench: Bench, wiring: Wiring) -> None:
        self.bench = bench
        self.wiring = wiring
        self.converter_works = True
        self.box_answers = True
        self.live: dict[str, list[RangeWiring]] = {
            name: list(c.ranges) for name, c in wiring.channels.items()
        }
        self.closes: dict[Insertion, bool] = {}
        self.residual_ohm = 0.7
        self.is_noisy = False
        self.box_is_off = False
        self.welded_place: str | None = None
        self._parts: dict[str, PartVerdict] = {}
        self._left_out: list[tuple[str, str]] = []

    def good(self, part: str) -> None:
        """Say that a part is good, as far as this stage sees."""
        self._parts.setdefault(part, PartVerdict(part=part, ok=True))

    def bad(self, part: str, check_first: str) -> None:
        """Say that a part failed, whatever an earlier stage saw, and where to look first."""
        self._parts[part] = PartVerdict(part=part, ok=False, check_first=check_first)

    def judge(self, part: str, ok: bool, check_first: str) -> None:
        """Say either."""
        if ok:
            self.good(part)
        else:
            self.bad(part, check_first)

    def leave_out(self, part: str, why: str) -> None:
        """Say that a part could not be judged."""
        self._left_out.append((part, why))

    def report(self) -> SelfTestReport:
        """What was found."""
        return SelfTestReport(
            parts=tuple(self._parts.values()),
            not_judged=tuple(self._left_out),
            simulated=self.bench.simulated,
        )

    @property
    def can_measure(self) -> bool:
        """Tell whether the box can be read through the sender's channel."""
        return (
            self.converter_works
            and self.box_answers
            and bool(self.live["sender"])
            and self.closes.get(Insertion.SENDER, False)
        )

    def passes(self, count: int) -> list[BenchSample]:
        """Take passes at the bench's own pace."""
        clock, samples = self.bench.clock, []
        for _ in range(count):
            clock.wait_until(clock.monotonic_s() + self.wiring.bench.pass_interval_s)
            samples.append(self.bench.sample())
        return samples

    def set_range(self, channel: str, range_wiring: RangeWiring) -> None:
        """Fix the range of a channel."""
        if channel == "probe":
            self.bench.set_probe_range(range_wiring.reference_ohm)
        else:
            self.bench.set_range(range_wiring.reference_ohm)

    def main_range(self, channel: str) -> RangeWiring:
        """The range of a channel that reaches furthest and works."""
        free = [each for each in self.live[channel] if not each.ordered_only] or self.live[channel]
        return max(free, key=lambda each: each.reference_ohm)

    def read_ohm(
        self, channel: str, range_wiring: RangeWiring, setting_ohm: float, passes: int = PASSES_OF_A_READING
    ) -> list[float]:
        """What a channel reads in one range, in or out of its span; inf where open. [Ω]"""
        self.set_range(channel, range_wiring)
        self.bench.set_decade(setting_ohm)
        samples = self.passes(1 + passes)[1:]
        found = [_estimate_ohm(sample, channel, range_wiring) for sample in samples]
        return [ohm for ohm in found if ohm is not None]

    def mean_ohm(self, channel: str, range_wiring: RangeWiring, setting_ohm: float) -> float:
        """Mean of `read_ohm`; nan where nothing could be read. [Ω]"""
        found = self.read_ohm(channel, range_wiring, setting_ohm)
        return fmean(found) if found else math.nan

    def lowest_ohm(self, channel: str, range_wiring: RangeWiring, setting_ohm: float) -> float:
        """Lowest of several readings: a contact that opens now and then in a sender only adds. [Ω]"""
        found = self.read_ohm(channel, range_wiring, setting_ohm, PASSES_OF_A_DOUBTFUL_READING)
        return min(found, default=math.nan)


def range_name(channel: str, range_wiring: RangeWiring) -> str:
    """Words for a range."""
    return f"{channel}, {range_wiring.reference_ohm:g} ohm range"


def _estimate_ohm(sample: BenchSample, channel: str, range_wiring: RangeWiring) -> float | None:
    reading = sample.channels[channel]
    if reading.value is not None:
        return reading.value
    if reading.quality is Quality.OPEN:
        return math.inf
    if reading.raw is None or reading.quality is Quality.MISSING:
        return 0.0 if reading.quality is Quality.SHORT else None
    if reading.raw >= FULL_SCALE_COUNT:
        return math.inf
    return range_wiring.reference_ohm * reading.raw / (FULL_SCALE_COUNT - reading.raw)
