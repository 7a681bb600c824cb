"""A bench on paper: readings of a run worked out from a known bath, without rig or broker."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import pytest

from calibration.contract.readings import BurstReading, ChannelReading, Insertion, Quality, ReadingPack
from calibration.curves import load_curve
from calibration.resistance.three_tap import ratio_count
from calibration.thermistor.steinhart_hart import SteinhartHart
from host.procedures.bench_setup import ohms_check_plan
from host.procedures.event import Event
from host.procedures.sender.sender_check import Kind
from host.procedures.sender.sender_check_settings import SenderCheckSettings

FIRST_BOOT = "00000001-0000abcd"
NOMINAL = load_curve("ntc-310-80c").nominal  # once: it is asked for at every pass

PROBE = {
    "kind": "probe", "serial": "P-1", "certificate": "C-1", "issuer": "nobody", "due": "2099-01-01",
    "a": 1.129241e-3, "b": 2.341077e-4, "c": 8.775468e-8,
    "expanded_u_k": 0.05, "k": 2.0, "valid_from_c": 0.0, "valid_to_c": 100.0,
}  # fmt: skip
BOX = {
    "kind": "decade_box", "serial": "D-1", "certificate": "C-2", "issuer": "nobody", "due": "2099-01-01",
    "residual_ohm": 0.4, "expanded_u_relative": 1e-4, "expanded_u_ohm": 0.03, "k": 2.0,
    "step": [
        {"nominal_ohm": weight * decade, "certified_ohm": float(weight * decade)}
        for decade in (1, 10, 100, 1000)
        for weight in (1, 2, 4, 8)
    ],
}  # fmt: skip


@dataclass
class PaperBench:
    """Readings as a rig would send them, 4 a second, of a bath that follows its set point."""

    boot: str = FIRST_BOOT
    seq: int = 0
    time_s: float = 0.0
    bath_c: float = 22.0
    packs: list[ReadingPack] = field(default_factory=list)
    sender_duty: float | None = 0.25
    sender_off_k: float = 0.0

    settings = SenderCheckSettings(
        station="bench-1",
        item="paper sender",
        curve="ntc-310-80c",
        curve_hash=load_curve("ntc-310-80c").content_hash,
        rule="guarded",
        limit_k=None,
        set_points_c=(30.0, 60.0, 85.0),
        probe=PROBE,
        decade_box=BOX,
    )

    def first_events(self) -> list[Event]:
        plan = [(s.insertion.value, s.range_ohm, s.setting_ohm) for s in ohms_check_plan(self.settings)]
        started = Event(kind=Kind.STARTED, payload={"settings": self.settings.as_json(), "plan": plan})
        return [started, Event(kind=Kind.SENDER_FITTED, payload={"boot": FIRST_BOOT, "seq": 0})]

    def reboot(self) -> None:
        """The rig starts anew: a new boot, its own numbers and its own time."""
        counter = int(self.boot[:8]) + 1
        self.boot, self.seq, self.time_s = f"{counter:08d}-0000abcd", 0, 0.0

    def read(
        self,
        *,
        insertion: Insertion = Insertion.NONE,
        decade_ohm: float = 0.0,
        range_ohm: float = 2700.0,
        quality: Quality = Quality.GOOD,
        burst: tuple[BurstReading, ...] = (),
    ) -> ReadingPack:
        self.seq += 1
        self.time_s += 0.25
        curve = SteinhartHart(a=PROBE["a"], b=PROBE["b"], c=PROBE["c"])
        wobble_k = 0.01 * math.sin(self.time_s * 1.7)
        probe_ohm = curve.resistance_ohm(self.bath_c + wobble_k)
        sender_ohm = NOMINAL.resistance_ohm(self.bath_c + wobble_k + self.sender_off_k)
        if insertion is Insertion.SENDER:
            sender_ohm = decade_ohm + 0.4
        if insertion is Insertion.PROBE:
            probe_ohm = decade_ohm + 0.4
        pack = ReadingPack(
            station="bench-1", rig="r1", boot=self.boot, seq=self.seq, rig_time_s=self.time_s, simulated=True,
            decade_ohm=decade_ohm, insertion=insertion, range_ohm=range_ohm, burst=burst,
            sender_duty=self.sender_duty,
            channels={
                "sender": _channel(sender_ohm, range_ohm, quality),
                "probe": _channel(probe_ohm, 2700.0, Quality.GOOD),
            },
        )  # fmt: skip
        self.packs.append(pack)
        return pack

    def whole_run(self) -> list[ReadingPack]:
        """Readings of a run without trouble."""
        for setting in ohms_check_plan(self.settings):
            for _ in range(10):
                is_sender = setting.insertion is Insertion.SENDER
                self.read(
                    insertion=setting.insertion,
                    decade_ohm=float(setting.setting_ohm),
                    range_ohm=setting.range_ohm if is_sender else 2700.0,
                )
        for set_point_c in self.settings.set_points_c:
            self.dwell(set_point_c)
        return self.packs

    def do_trials(self) -> None:
        """Each step of every trial, held long enough: 75 s of rest, 30 to settle, a minute of reading."""
        for duty, off_k in ((1.0, 0.02), (0.25, 0.0), (0.25, -0.10), (0.25, 0.0), (0.25, -0.01)):
            self.sender_duty, self.sender_off_k = duty, off_k
            for _ in range(4 * 167):
                self.read(range_ohm=750.0)

    def move_connector(self) -> None:
        """Bursts while the connector is moved, some passes without one between them."""
        for number in range(5):
            single = BurstReading(before_s=0.5, raw=1000.0 + number, value=240.0)
            self.read(range_ohm=750.0, burst=(single,) * 50)
            for _ in range(3):
                self.read(range_ohm=750.0)

    def dwell(self, set_point_c: float) -> None:
        """Heat to a set point and stay there until a plateau has been read."""
        range_ohm = 2700.0 if set_point_c < 45.0 else 750.0
        while self.bath_c < set_point_c:
            self.bath_c = min(self.bath_c + 0.05, set_point_c)
            self.read(range_ohm=range_ohm)
        for _ in range(4 * 125):
            self.read(range_ohm=range_ohm)


def _channel(resistance_ohm: float, range_ohm: float, quality: Quality) -> ChannelReading:
    count = ratio_count(resistance_ohm, range_ohm)
    if quality is not Quality.GOOD:
        return ChannelReading(quality=quality, raw=count, reason="said so by the test")
    return ChannelReading(quality=quality, raw=count, value=resistance_ohm)


@pytest.fixture(scope="session")
def thorough_bench() -> PaperBench:
    """A bench that went through a run with every trial; shared, so read only."""
    bench = PaperBench()
    bench.settings = replace(bench.settings, trials=("currents", "depths", "places"))
    bench.whole_run()
    bench.do_trials()
    return bench


@pytest.fixture
def bench() -> Iterator[PaperBench]:
    yield PaperBench()


@pytest.fixture
def changed():
    """Value with some fields changed."""
    return replace
