"""Reads ``hardware/wiring.toml``, the only map of pins and resistors, and holds it to its rules."""

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rig.errors import WiringError

SPI_GPIO = {(0, 0): (8, 9, 10, 11), (0, 1): (7, 9, 10, 11)}  # select, MISO, MOSI, clock
I2C_GPIO = {1: (2, 3)}
CONVERTER_INPUTS = 8
MAINS_HZ = (50.0, 60.0)


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
    """One measuring range of a resistance channel."""

    reference_ohm: float
    ballast_ohm: float
    excitation_gpio: int
    tap0: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelWiring:
    """One resistance channel: its ranges, common taps 1 and 2, and the return lift."""

    name: str
    return_lift_ohm: float
    tap1: int
    tap2: int
    ranges: tuple[RangeWiring, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reportable:
    """Span in which ohms are derived from counts; x = R/(R + R_ref)."""

    lowest_x: float
    highest_x: float
    lowest_ohm: float
    highest_ohm: float

    def span_ohm(self, reference_ohm: float) -> tuple[float, float]:
        """Lowest and highest resistance that a range may report. [Ω]"""
        low = reference_ohm * self.lowest_x / (1 - self.lowest_x)
        high = reference_ohm * self.highest_x / (1 - self.highest_x)
        return max(low, self.lowest_ohm), min(high, self.highest_ohm)


@dataclass(frozen=True, slots=True, kw_only=True)
class ConverterWiring:
    """The converter and its reference."""

    reference_v: float
    spi_port: int
    spi_device: int


@dataclass(frozen=True, slots=True, kw_only=True)
class InsertionWiring:
    """Relays that put the decade box in place of a device."""

    sender_gpio: int
    probe_gpio: int


@dataclass(frozen=True, slots=True, kw_only=True)
class DecadeBoxWiring:
    """Relays of the decade box on their port expander; step n hangs on bit n."""

    i2c_address: int
    step_ohm: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class InfraredWiring:
    """The non-contact sensor."""

    i2c_address: int
    emissivity: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OneWireWiring:
    """The witness."""

    gpio: int
    conversion_interval_s: float
    stale_after_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Wiring:
    """The whole bench, as wired."""

    bench: BenchWiring
    sampling: SamplingPlan
    converter: ConverterWiring
    channels: Mapping[str, ChannelWiring]
    reportable: Reportable
    insertion: InsertionWiring
    decade_box: DecadeBoxWiring
    i2c_bus: int
    infrared: InfraredWiring
    one_wire: OneWireWiring

    def pins(self) -> Iterator[tuple[str, int]]:
        """What is wired where: (use, GPIO number)."""
        for channel in self.channels.values():
            for each in channel.ranges:
                yield f"excitation of {channel.name}, {each.reference_ohm:g} Ω", each.excitation_gpio
        yield "insertion relay, sender", self.insertion.sender_gpio
        yield "insertion relay, probe", self.insertion.probe_gpio
        yield "1-wire", self.one_wire.gpio
        for gpio in SPI_GPIO[self.converter.spi_port, self.converter.spi_device]:
            yield "SPI", gpio
        for gpio in I2C_GPIO[self.i2c_bus]:
            yield "I²C", gpio

    def peak_current_ma(self, channel: str, range_wiring: RangeWiring) -> float:
        """Largest current through a device in the reportable span, switch taken as 0 Ω. [mA]"""
        low_ohm, _ = self.reportable.span_ohm(range_wiring.reference_ohm)
        loop_ohm = (
            range_wiring.ballast_ohm
            + range_wiring.reference_ohm
            + low_ohm
            + self.channels[channel].return_lift_ohm
        )
        return 1000.0 * self.converter.reference_v / loop_ohm

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
    _check(wiring)
    return wiring


def _wiring(data: Mapping[str, Any]) -> Wiring:
    return Wiring(
        bench=BenchWiring(**_floats(data["bench"], BenchWiring)),
        sampling=_sampling(data["sampling"], mains_hz=float(data["bench"]["mains_hz"])),
        converter=ConverterWiring(
            reference_v=float(data["converter"]["reference_v"]),
            spi_port=int(data["converter"]["spi_port"]),
            spi_device=int(data["converter"]["spi_device"]),
        ),
        channels={name: _channel(name, data["channel"][name]) for name in ("sender", "probe")},
        reportable=Reportable(**_floats(data["reportable"], Reportable)),
        insertion=InsertionWiring(
            sender_gpio=int(data["insertion"]["sender_gpio"]),
            probe_gpio=int(data["insertion"]["probe_gpio"]),
        ),
        decade_box=DecadeBoxWiring(
            i2c_address=int(data["decade_box"]["i2c_address"]),
            step_ohm=tuple(int(ohm) for ohm in data["decade_box"]["step_ohm"]),
        ),
        i2c_bus=int(data["i2c"]["bus"]),
        infrared=InfraredWiring(
            i2c_address=int(data["infrared"]["i2c_address"]), emissivity=float(data["infrared"]["emissivity"])
        ),
        one_wire=OneWireWiring(
            gpio=int(data["one_wire"]["gpio"]),
            conversion_interval_s=float(data["one_wire"]["conversion_interval_s"]),
            stale_after_s=float(data["one_wire"]["stale_after_s"]),
        ),
    )


def _floats(table: Mapping[str, Any], kind: type) -> dict[str, float]:
    return {name: float(table[name]) for name in kind.__dataclass_fields__}  # type: ignore[attr-defined]


def _sampling(table: Mapping[str, Any], *, mains_hz: float) -> SamplingPlan:
    return SamplingPlan(
        settle_s=float(table["settle_s"]),
        window_s=int(table["mains_cycles"]) / mains_hz,
        cycle_s=1.0 / mains_hz,
        rounds=int(table["rounds"]),
        block=int(table["block"]),
        discard=int(table["discard"]),
    )


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
            )
            for each in table["range"]
        ),
    )


def _check(wiring: Wiring) -> None:
    if wiring.bench.mains_hz not in MAINS_HZ:
        raise WiringError(f"bench.mains_hz is {wiring.bench.mains_hz:g}: write 50.0 or 60.0")
    if (wiring.converter.spi_port, wiring.converter.spi_device) not in SPI_GPIO:
        raise WiringError(
            "converter: only SPI port 0 with device 0 or 1 is a hardware port that is left free"
        )
    if wiring.i2c_bus not in I2C_GPIO:
        raise WiringError(f"i2c.bus is {wiring.i2c_bus}: write 1, the bus on the header")
    _check_pins(wiring)
    _check_inputs(wiring)
    _check_currents(wiring)
    expected = tuple(weight * decade for decade in (1, 10, 100, 1000) for weight in (1, 2, 4, 8))
    if wiring.decade_box.step_ohm != expected:
        raise WiringError("decade_box.step_ohm must be 1, 2, 4, 8 times 1, 10, 100, 1000, in that order")
    if wiring.duty > wiring.bench.duty_limit + 1e-9:
        raise WiringError(
            f"a device would carry current {wiring.duty:.1%} of the time, over duty_limit "
            f"{wiring.bench.duty_limit:.0%}: fewer mains cycles, less settling, or a longer pass_interval_s"
        )


def _check_pins(wiring: Wiring) -> None:
    taken: dict[int, str] = {}
    for use, gpio in wiring.pins():
        if not 2 <= gpio <= 27:
            raise WiringError(f"{use}: GPIO {gpio} is not on the header (2 to 27)")
        if gpio in taken:
            raise WiringError(f"GPIO {gpio} is used twice: {taken[gpio]}, and {use}")
        taken[gpio] = use


def _check_inputs(wiring: Wiring) -> None:
    inputs = [
        tap
        for channel in wiring.channels.values()
        for tap in (channel.tap1, channel.tap2, *(each.tap0 for each in channel.ranges))
    ]
    for tap in inputs:
        if not 0 <= tap < CONVERTER_INPUTS:
            raise WiringError(f"converter input {tap} does not exist (0 to {CONVERTER_INPUTS - 1})")
        if inputs.count(tap) > 1:
            raise WiringError(f"converter input {tap} is used twice")


def _check_currents(wiring: Wiring) -> None:
    for name, channel in wiring.channels.items():
        for each in channel.ranges:
            current_ma = wiring.peak_current_ma(name, each)
            if current_ma > wiring.bench.current_limit_ma:
                raise WiringError(
                    f"{name}, {each.reference_ohm:g} Ω range: {current_ma:.3f} mA through the device, over "
                    f"current_limit_ma {wiring.bench.current_limit_ma:g}: a larger ballast_ohm brings it down"
                )
