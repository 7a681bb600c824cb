"""Reads ``hardware/wiring.toml``, the only map of pins and resistors, and holds it to its rules."""

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rig.errors import WiringError
from rig.wiring_rules import check_wiring

SPI_GPIO = {(0, 0): (8, 9, 10, 11), (0, 1): (7, 9, 10, 11)}  # select, MISO, MOSI, clock
I2C_GPIO = {1: (2, 3)}


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchWiring:
    """Times and limits of the whole bench."""

    mains_hz: float
    pass_interval_s: float
    duty_limit: float
    current_limit_ma: float
    relay_settle_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SamplingPlan:
    """How one sample of a resistance channel is spread over time.

    Attributes
    ----------
    settle_s : float
        From excitation on to the first conversion. [s]
    window_s : float
        Whole mains cycles over which the conversions are spread. [s]
    cycle_s : float
        One mains cycle, the span of the jitter. [s]
    rounds, block, discard : int
        ``rounds`` times, each tap: ``discard`` conversions thrown away, ``block`` kept.
    """

    settle_s: float
    window_s: float
    cycle_s: float
    rounds: int
    block: int
    discard: int

    @property
    def interval_s(self) -> float:
        """Time from one conversion to the next. [s]"""
        return self.window_s / (3 * self.rounds * (self.block + self.discard))


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeWiring:
    """One measuring range of a resistance channel.

    Attributes
    ----------
    reference_ohm : float
        Between tap 0 and tap 1; where two ranges share tap 0, the larger stands on top of the smaller. [Ω]
    ballast_ohm : float
        Between the switch and tap 0, outside the ratio. [Ω]
    stated_error_percent : float
        Largest error of R over the span, before any ohms check. [%]
    lift_beside_ohm : float or None
        Put beside the return lift while this range is excited. [Ω]
    current_limit_ma : float or None
        Its own limit; None is the bench's. [mA]
    lowest_ohm, highest_ohm : float or None
        Ends of its span where they are not those of `Reportable`. [Ω]
    ordered_only : bool
        The rig never chooses it by itself.
    """

    reference_ohm: float
    ballast_ohm: float
    excitation_gpio: int
    tap0: int
    stated_error_percent: float
    lift_beside_ohm: float | None = None
    current_limit_ma: float | None = None
    lowest_ohm: float | None = None
    highest_ohm: float | None = None
    ordered_only: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelWiring:
    """One resistance channel: its ranges, common taps 1 and 2, and the return lift."""

    name: str
    return_lift_ohm: float
    tap1: int
    tap2: int
    ranges: tuple[RangeWiring, ...]

    @property
    def free_ranges(self) -> tuple[RangeWiring, ...]:
        """Ranges that the rig may choose by itself."""
        return tuple(each for each in self.ranges if not each.ordered_only)

    def lift_ohm(self, range_wiring: RangeWiring) -> float:
        """Return lift while a range is excited. [Ω]"""
        beside_ohm = range_wiring.lift_beside_ohm
        if beside_ohm is None:
            return self.return_lift_ohm
        return self.return_lift_ohm * beside_ohm / (self.return_lift_ohm + beside_ohm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reportable:
    """Span in which ohms are derived from counts; x = R/(R + R_ref)."""

    lowest_x: float
    highest_x: float
    lowest_ohm: float
    highest_ohm: float

    def span_ohm(self, range_wiring: RangeWiring) -> tuple[float, float]:
        """Lowest and highest resistance that a range may report. [Ω]"""
        low_ohm, high_ohm = range_wiring.lowest_ohm, range_wiring.highest_ohm
        if low_ohm is None:
            low_ohm = max(self.lowest_ohm, range_wiring.reference_ohm * self.lowest_x / (1 - self.lowest_x))
        if high_ohm is None:
            high_ohm = min(
                self.highest_ohm, range_wiring.reference_ohm * self.highest_x / (1 - self.highest_x)
            )
        return low_ohm, high_ohm


@dataclass(frozen=True, slots=True, kw_only=True)
class ConverterWiring:
    """The converter, its reference, and what stands between the taps and its inputs."""

    reference_v: float
    supply_v: float
    spi_port: int
    spi_device: int
    inl_lsb: float
    tap_series_ohm: float
    tap_capacitor_nf: float
    buffer_limit_ma: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyWiring:
    """What a pin of the Pi stands, and what the relays hang on."""

    pin_limit_v: float
    pin_limit_ma: float
    relay_v: float
    relay_limit_ma: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferenceWiring:
    """Reference resistors as bought; 0.1 is 0.1 %."""

    tolerance_percent: float
    ppm_per_k: float
    board_span_k: float


@dataclass(frozen=True, slots=True, kw_only=True)
class InsertionWiring:
    """Relays that bring the decade box into the circuit, one place at a time."""

    sender_gpio: int
    probe_gpio: int
    series_gpio: int
    parallel_gpio: int


@dataclass(frozen=True, slots=True, kw_only=True)
class RelayWiring:
    """Coils and their drivers, and how long contacts take."""

    coil_ma: float
    coils_per_place: float
    driver_limit_ma: float
    driver_input_ma: float
    pull_down_ohm: float
    release_s: float
    bounce_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DecadeBoxWiring:
    """Relays of the decade box on their port expander; step n hangs on bit n."""

    i2c_address: int
    supply_v: float
    step_ohm: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class I2CWiring:
    """The bus's own resistors and its cable."""

    pull_up_ohm: float
    pull_up_v: float
    bus_pf: float


@dataclass(frozen=True, slots=True, kw_only=True)
class InfraredWiring:
    """The non-contact sensor."""

    i2c_address: int
    supply_v: float
    emissivity: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OneWireWiring:
    """The witness."""

    gpio: int
    pull_up_ohm: float
    pull_up_v: float
    conversion_interval_s: float
    stale_after_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ButtonWiring:
    """The button that stamps a handheld shot; to ground."""

    gpio: int
    pull_up_ohm: float
    pull_up_v: float
    debounce_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LightWiring:
    """The status light; active high."""

    gpio: int
    series_ohm: float
    forward_v: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Wiring:
    """The whole bench, as wired."""

    bench: BenchWiring
    sampling: SamplingPlan
    converter: ConverterWiring
    supply: SupplyWiring
    reference: ReferenceWiring
    channels: Mapping[str, ChannelWiring]
    reportable: Reportable
    insertion: InsertionWiring
    relay: RelayWiring
    decade_box: DecadeBoxWiring
    i2c_bus: int
    i2c: I2CWiring
    infrared: InfraredWiring
    one_wire: OneWireWiring
    button: ButtonWiring
    light: LightWiring

    def pins(self) -> Iterator[tuple[str, int]]:
        """What is wired where: (use, GPIO number)."""
        for channel in self.channels.values():
            for each in channel.ranges:
                yield f"excitation of {channel.name}, {each.reference_ohm:g} Ω", each.excitation_gpio
        yield "insertion relay, sender", self.insertion.sender_gpio
        yield "insertion relay, probe", self.insertion.probe_gpio
        yield "insertion relay, series", self.insertion.series_gpio
        yield "insertion relay, parallel", self.insertion.parallel_gpio
        yield "1-wire", self.one_wire.gpio
        yield "button", self.button.gpio
        yield "light", self.light.gpio
        for gpio in SPI_GPIO[self.converter.spi_port, self.converter.spi_device]:
            yield "SPI", gpio
        for gpio in I2C_GPIO[self.i2c_bus]:
            yield "I²C", gpio

    def loop_ohm(self, channel: str, range_wiring: RangeWiring) -> float:
        """Everything around the loop but the device; the switch taken as 0 Ω, the worst case. [Ω]"""
        lift_ohm = self.channels[channel].lift_ohm(range_wiring)
        return range_wiring.ballast_ohm + range_wiring.reference_ohm + lift_ohm

    def current_limit_ma(self, range_wiring: RangeWiring) -> float:
        """What a device may carry on a range. [mA]"""
        own_ma = range_wiring.current_limit_ma
        return self.bench.current_limit_ma if own_ma is None else own_ma

    def peak_current_ma(self, channel: str, range_wiring: RangeWiring) -> float:
        """Largest current through a device in the reportable span. [mA]"""
        low_ohm, _ = self.reportable.span_ohm(range_wiring)
        return 1000.0 * self.converter.reference_v / (self.loop_ohm(channel, range_wiring) + low_ohm)

    def worst_power_mw(self, channel: str, range_wiring: RangeWiring) -> float:
        """Largest power in any device, while it is sampled: V²/4R where it equals the loop. [mW]"""
        return 1000.0 * self.converter.reference_v**2 / (4.0 * self.loop_ohm(channel, range_wiring))

    def worst_error(self, channel: str, range_wiring: RangeWiring, device_ohm: float) -> float:
        """Largest relative error of R = R_ref (c1 - c2)/(c0 - c1), parts as bought.

        With every tap wrong by the converter's integral non-linearity in the worst direction, the numerator
        is wrong by two of them, the denominator by two the other way; tolerance and warming of the reference
        come on top. An offset or gain common to all codes falls out of the ratio.
        """
        count_per_ohm = 4096.0 / (self.loop_ohm(channel, range_wiring) + device_ohm)
        inl_count = 2.0 * self.converter.inl_lsb
        converter = inl_count / (count_per_ohm * device_ohm)
        converter += inl_count / (count_per_ohm * range_wiring.reference_ohm)
        part = self.reference
        return converter + part.tolerance_percent / 100.0 + part.ppm_per_k * part.board_span_k * 1e-6

    @property
    def duty(self) -> float:
        """Share of the time that a device under test carries current."""
        return (self.sampling.settle_s + self.sampling.window_s) / self.bench.pass_interval_s


def wiring_file() -> Path:
    """Where the wiring file is: beside the source tree, or inside an installed package."""
    here = Path(__file__).resolve().parent
    source_tree = here.parent / "hardware" / "wiring.toml"
    return source_tree if source_tree.is_file() else here / "wiring.toml"


def load_wiring(path: Path | None = None) -> Wiring:
    """Wiring of the bench, checked against its rules.

    Parameters
    ----------
    path : Path or None
        Another file than the bench's own.

    Raises
    ------
    WiringError
        If the file cannot be read, a key is missing, or a rule is broken.
    """
    path = path or wiring_file()
    try:
        return parse_wiring(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise WiringError(f"Cannot read {path}: {error.strerror}. The rig needs its wiring file.") from error
    except WiringError as error:
        raise WiringError(f"{path}: {error}") from error


def parse_wiring(text: str) -> Wiring:
    """Wiring of a TOML text, checked against its rules."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise WiringError(f"not TOML: {error}") from error
    try:
        wiring = _wiring(data)
    except KeyError as error:
        raise WiringError(f"key {error.args[0]!r} is missing") from error
    except (TypeError, AttributeError, ValueError) as error:
        raise WiringError(f"a value has the wrong type: {error}") from error
    check_wiring(wiring)
    return wiring


def _wiring(data: Mapping[str, Any]) -> Wiring:
    return Wiring(
        bench=BenchWiring(**_floats(data["bench"], BenchWiring)),
        sampling=_sampling(data["sampling"], mains_hz=float(data["bench"]["mains_hz"])),
        converter=ConverterWiring(
            reference_v=float(data["converter"]["reference_v"]),
            supply_v=float(data["converter"]["supply_v"]),
            spi_port=int(data["converter"]["spi_port"]),
            spi_device=int(data["converter"]["spi_device"]),
            inl_lsb=float(data["converter"]["inl_lsb"]),
            tap_series_ohm=float(data["converter"]["tap_series_ohm"]),
            tap_capacitor_nf=float(data["converter"]["tap_capacitor_nf"]),
            buffer_limit_ma=float(data["converter"]["buffer_limit_ma"]),
        ),
        supply=SupplyWiring(**_floats(data["supply"], SupplyWiring)),
        reference=ReferenceWiring(**_floats(data["reference"], ReferenceWiring)),
        channels={name: _channel(name, data["channel"][name]) for name in ("sender", "probe")},
        reportable=Reportable(**_floats(data["reportable"], Reportable)),
        insertion=InsertionWiring(
            **{name: int(data["insertion"][name]) for name in InsertionWiring.__dataclass_fields__}
        ),
        relay=RelayWiring(**_floats(data["relay"], RelayWiring)),
        decade_box=DecadeBoxWiring(
            i2c_address=int(data["decade_box"]["i2c_address"]),
            supply_v=float(data["decade_box"]["supply_v"]),
            step_ohm=tuple(int(ohm) for ohm in data["decade_box"]["step_ohm"]),
        ),
        i2c_bus=int(data["i2c"]["bus"]),
        i2c=I2CWiring(**_floats(data["i2c"], I2CWiring)),
        infrared=InfraredWiring(**_with_integer(data["infrared"], InfraredWiring, "i2c_address")),
        one_wire=OneWireWiring(**_with_integer(data["one_wire"], OneWireWiring, "gpio")),
        button=ButtonWiring(**_with_integer(data["button"], ButtonWiring, "gpio")),
        light=LightWiring(**_with_integer(data["light"], LightWiring, "gpio")),
    )


def _floats(table: Mapping[str, Any], kind: type) -> dict[str, float]:
    return {name: float(table[name]) for name in kind.__dataclass_fields__}  # type: ignore[attr-defined]


def _with_integer(table: Mapping[str, Any], kind: type, integer: str) -> dict[str, Any]:
    return {**_floats(table, kind), integer: int(table[integer])}


def _sampling(table: Mapping[str, Any], *, mains_hz: float) -> SamplingPlan:
    return SamplingPlan(
        settle_s=float(table["settle_s"]),
        window_s=int(table["mains_cycles"]) / mains_hz,
        cycle_s=1.0 / mains_hz,
        rounds=int(table["rounds"]),
        block=int(table["block"]),
        discard=int(table["discard"]),
    )


_OF_SOME_RANGES = ("lift_beside_ohm", "current_limit_ma", "lowest_ohm", "highest_ohm")


def _channel(name: str, table: Mapping[str, Any]) -> ChannelWiring:
    return ChannelWiring(
        name=name,
        return_lift_ohm=float(table["return_lift_ohm"]),
        tap1=int(table["tap1"]),
        tap2=int(table["tap2"]),
        ranges=tuple(
            RangeWiring(
                reference_ohm=float(each["reference_ohm"]),
                ballast_ohm=float(each["ballast_ohm"]),
                excitation_gpio=int(each["excitation_gpio"]),
                tap0=int(each["tap0"]),
                stated_error_percent=float(each["stated_error_percent"]),
                ordered_only=bool(each.get("ordered_only", False)),
                **{name: float(each[name]) for name in _OF_SOME_RANGES if name in each},
            )
            for each in table["range"]
        ),
    )
