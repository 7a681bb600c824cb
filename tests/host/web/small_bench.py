"""A rig with a small bath whose readings are fed by hand, and the papers of its probe and box."""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from calibration.contract.orders import Answer, AnswerState, decode_order, encode_answer
from calibration.contract.presence import Presence
from calibration.contract.readings import BurstReading, ChannelReading, Insertion, Quality, ReadingPack
from calibration.contract.senml import encode_readings
from calibration.curves import load_curve
from calibration.resistance.three_tap import ratio_count
from calibration.thermistor.steinhart_hart import SteinhartHart
from host.live import Live
from host.order_book import OrderBook
from host.store import Store
from host.store.packs import Arrival

BOOT = "00000001-0000abcd"
CURVE = "ntc-310-80c"
NOMINAL = load_curve(CURVE).nominal  # once: it is asked for at every pass
PROBE = SteinhartHart(a=1.129241e-3, b=2.341077e-4, c=8.775468e-8)
PROBE_PAPER = """
kind = "probe"
serial = "P-1"
certificate = "C-1"
issuer = "nobody at all"
issued = 2020-01-01
due = 2099-01-01
simulated = true
model = "steinhart_hart"
a = 1.129241e-3
b = 2.341077e-4
c = 8.775468e-8
expanded_u_k = 0.05
k = 2.0
valid_from_c = 0.0
valid_to_c = 100.0
"""
BOX_PAPER = """
kind = "decade_box"
serial = "D-1"
certificate = "C-2"
issuer = "nobody at all"
issued = 2020-01-01
due = 2099-01-01
simulated = true
residual_ohm = 0.4
expanded_u_relative = 1e-4
expanded_u_ohm = 0.03
k = 2.0
""" + "".join(
    f"[[step]]\nnominal_ohm = {weight * decade}\ncertified_ohm = {float(weight * decade)}\n"
    for decade in (1, 10, 100, 1000)
    for weight in (1, 2, 4, 8)
)


@dataclass
class SmallBench:
    """A rig with its bath, reading four times a second of its own time, when it is told to.

    It obeys the desk's orders as the real one does, and its numbers follow from one bath temperature.
    """

    store: Store
    live: Live
    station: str = "bench-1"
    simulated: bool = True
    series_ohm: float = 0.0
    bath_c: float = 22.0
    heater_c: float | None = None
    book: OrderBook | None = None
    quality: dict[str, tuple[Quality, str]] = field(default_factory=dict)
    seq: int = 0
    boot: str = BOOT
    has_loose_contact: bool = False
    utc_s: float | None = None
    clock_step_s: float | None = None
    sender_lag_s: float = 0.0
    heats_by_k: float = 0.04
    sender_duty: float | None = 0.25
    infrared_emissivity: float | None = 0.95
    body_c: float = 22.31
    body_drift_k_per_min: float = 0.0
    stem_share: float = 0.0
    gradient_k: float = 0.0
    drawn_out_mm: float = 0.0
    pressed_before_s: tuple[float, ...] = ()
    reads_high_by: float = 0.0
    has_changed_places: bool = False
    feels_the_box: bool = True
    feels_the_relays: bool = False
    refuses: Callable[[str, dict[str, Any]], str] | None = None
    _sender_c: float | None = None
    _burst_due: bool = False
    _has_switched: bool = False
    _time_s: float = 0.0
    _insertion: Insertion = Insertion.NONE
    _decade_ohm: float = 0.0
    _range_ohm: float = 2700.0

    def obey(self, topic: str, payload: bytes) -> None:
        """Take an order from the desk and answer it."""
        order = decode_order(payload)
        if topic.split("/")[2] != self.station:
            return
        wanted = dict(order.fields)
        assert self.book is not None
        reason = self.refuses(order.do, wanted) if self.refuses is not None else ""
        if reason:
            no = Answer(order=order.order, state=AnswerState.REFUSED, reason=reason)
            self.book.take(self.station, encode_answer(no))
            return
        match order.do:
            case "set_insertion":
                self._has_switched |= self._insertion.value != wanted["insertion"]
                self._insertion = Insertion(wanted["insertion"])
            case "set_decade":
                self._decade_ohm = float(wanted["resistance_ohm"])
            case "set_range":
                self._range_ohm = float(wanted["range_ohm"] or 2700.0)
            case "set_duty":
                self.sender_duty = float(wanted["duty"])
            case "burst":
                self._burst_due = True
            case "hands":
                self._by_hand(wanted)
        answer = Answer(order=order.order, state=AnswerState.DONE, seq=self.seq + 1)
        self.book.take(self.station, encode_answer(answer))

    def _by_hand(self, wanted: dict[str, Any]) -> None:
        if wanted["do"] == "heater":
            self.heater_c = None if wanted.get("off") else float(wanted["temperature_c"])
        elif wanted["do"] == "fresh_water":
            self.bath_c = float(wanted["temperature_c"])
        elif wanted["do"] == "draw_out":
            self.drawn_out_mm = float(wanted["by_mm"])
        elif wanted["do"] == "places":
            self.has_changed_places = bool(wanted["changed"])

    def read(self, passes: int = 1) -> None:
        """Read so many times, and have it committed and shown."""
        packs = [self._pack() for _ in range(passes)]
        self.store.packs.take(
            [
                Arrival(station=self.station, payload=encode_readings(pack), received_utc_s=0.0)
                for pack in packs
            ]
        )
        self.live.hear(self.station)
        self.live.add(packs)

    def say(self, **changed: Any) -> None:
        """Publish a presence."""
        facts: dict[str, Any] = {
            "state": "up", "rig": "r1", "boot": self.boot, "connect": 1, "holds": {}, "speed": 1.0,
            "simulated": self.simulated, "synchronised": True, "version": "0",
        }  # fmt: skip
        self.live.take_presence(self.station, Presence(**(facts | changed)))
        self.live.hear(self.station)

    def _pack(self) -> ReadingPack:
        self.seq += 1
        self._time_s += 0.25
        self.body_c += self.body_drift_k_per_min * 0.25 / 60.0
        if self.heater_c is not None:
            self.bath_c += max(-self.heats_by_k, min(self.heats_by_k, self.heater_c - self.bath_c))
        if self._insertion not in (Insertion.SENDER, Insertion.PROBE):
            self._range_ohm = 2700.0 if self.bath_c < 45.0 else 750.0
        wobble_k = 0.01 * math.sin(self._time_s * 1.7)
        probe_ohm = PROBE.resistance_ohm(self.bath_c + wobble_k)
        place = -1.0 if self.has_changed_places else 1.0
        stem_k = self.stem_share * math.exp(self.drawn_out_mm / 14.0) * (self.bath_c - 22.31)
        sender_c = self._sender_body_c() + wobble_k - stem_k + place * self.gradient_k
        sender_ohm = NOMINAL.resistance_ohm(sender_c) + self.series_ohm
        if self.feels_the_box and self._insertion is Insertion.SERIES:
            sender_ohm += self._decade_ohm
        if self.feels_the_box and self._insertion is Insertion.PARALLEL and self._decade_ohm:
            sender_ohm = sender_ohm * self._decade_ohm / (sender_ohm + self._decade_ohm)
        if self._insertion is Insertion.SENDER:
            sender_ohm = self._decade_ohm + 0.4
        if self._insertion is Insertion.PROBE:
            probe_ohm = self._decade_ohm + 0.4
        probe_ohm, sender_ohm = (ohm * (1.0 + self.reads_high_by) for ohm in (probe_ohm, sender_ohm))
        channels = {
            "sender": _ohms(sender_ohm, self._range_ohm),
            "probe": _ohms(probe_ohm, 2700.0),
            "witness": ChannelReading(quality=Quality.GOOD, value=round((self.bath_c - 0.1) * 16) / 16),
            "infrared": ChannelReading(quality=Quality.GOOD, value=round(self.bath_c - 0.7, 2)),
            "ambient": ChannelReading(quality=Quality.GOOD, value=round(self.body_c, 2)),
        }
        if self._has_switched and self.feels_the_relays:
            # The rig marks the pass after an insertion relay moved, and it does so on both channels.
            for name in ("sender", "probe"):
                channels[name] = ChannelReading(
                    quality=Quality.SWITCHING, raw=channels[name].raw, reason="relays have just moved"
                )
        self._has_switched = False
        for name, (quality, reason) in self.quality.items():
            channels[name] = ChannelReading(quality=quality, raw=channels[name].raw, reason=reason)
        return ReadingPack(
            station=self.station, rig=f"rig-{self.station}", boot=self.boot, seq=self.seq,
            rig_time_s=self._time_s, simulated=self.simulated, decade_ohm=self._decade_ohm,
            insertion=self._insertion, range_ohm=self._range_ohm, channels=channels,
            sender_duty=self.sender_duty, shots_before_s=self._presses(),
            infrared_emissivity=self.infrared_emissivity, burst=self._burst(sender_ohm), utc_s=self.utc_s,
            clock_step_s=self.clock_step_s,
        )  # fmt: skip

    def _presses(self) -> tuple[float, ...]:
        """Presses of the bench button since the pass before."""
        told, self.pressed_before_s = self.pressed_before_s, ()
        return told

    def _sender_body_c(self) -> float:
        """The bath, followed as a body of one time constant follows it."""
        if self._sender_c is None or self.sender_lag_s == 0.0:
            self._sender_c = self.bath_c
        else:
            self._sender_c += (self.bath_c - self._sender_c) * -math.expm1(-0.25 / self.sender_lag_s)
        return self._sender_c

    def _burst(self, sender_ohm: float) -> tuple[BurstReading, ...]:
        """A second of single conversions, where one was ordered; loose, every seventh of them is open."""
        if not self._burst_due:
            return ()
        self._burst_due = False
        singles = []
        for number in range(50):
            ohm = sender_ohm * (1.0 + 3e-4 * math.sin(7.3 * number))
            is_open = self.has_loose_contact and number % 7 == 3
            singles.append(
                BurstReading(
                    before_s=round(1.0 - 0.02 * number, 3),
                    raw=4096.0 if is_open else ratio_count(ohm, self._range_ohm),
                    value=None if is_open else ohm,
                )
            )
        return tuple(singles)


def _ohms(resistance_ohm: float, range_ohm: float) -> ChannelReading:
    return ChannelReading(
        quality=Quality.GOOD, raw=ratio_count(resistance_ohm, range_ohm), value=resistance_ohm
    )
