"""The electrical rules that a wiring file is held to, each broken one refused in words."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise
from typing import TYPE_CHECKING

from rig.errors import WiringError

if TYPE_CHECKING:
    from rig.wiring import ChannelWiring, RangeWiring, Wiring

CONVERTER_INPUTS = 8
MAINS_HZ = (50.0, 60.0)
PULLED_UP_BELOW_GPIO = 9  # GPIO 0 to 8 wake with a pull-up (BCM2711 peripherals, table of pulls)
SETTLED_TIME_CONSTANTS = 10.0  # exp(-10) is 0.2 of a 12-bit code
CLAMP_LIMIT_MA = 2.0
MISTAKEN_CLIP_V = 12.0
EXPANDER_LIMIT_MA = 125.0  # into VDD of the MCP23017 (DS20001952C, absolute maximum)
I2C_SINK_MA = 3.0  # standard mode (UM10204, table 9)
I2C_RISE_NS = 1000.0
ONE_WIRE_SINK_MA = 4.0  # DS18B20 data sheet, sink current
POINTS_OF_A_SPAN = 40
RAIL_COUNT = 8.0  # largest offset of the converter, 3 codes (DS21298E), and room for noise and hum


def check_wiring(wiring: Wiring) -> None:
    """Hold a wiring to every rule.

    Raises
    ------
    WiringError
        For the first rule that is broken: what, the limit, the way out.
    """
    for rule in (
        _check_ports,
        _check_addresses,
        _check_pins,
        _check_power_on,
        _check_voltages,
        _check_inputs,
        _check_chains,
        _check_currents,
        _check_rails,
        _check_errors,
        _check_settling,
        _check_clamps,
        _check_relay_drive,
        _check_pull_ups,
        _check_light,
        _check_decade_box,
        _check_duty,
    ):
        rule(wiring)


def _check_ports(wiring: Wiring) -> None:
    from rig.wiring import I2C_GPIO, SPI_GPIO

    if wiring.bench.mains_hz not in MAINS_HZ:
        raise WiringError(f"bench.mains_hz is {wiring.bench.mains_hz:g}: write 50.0 or 60.0")
    if (wiring.converter.spi_port, wiring.converter.spi_device) not in SPI_GPIO:
        raise WiringError(
            "converter: only SPI port 0 with device 0 or 1 is a hardware port that is left free"
        )
    if wiring.i2c_bus not in I2C_GPIO:
        raise WiringError(f"i2c.bus is {wiring.i2c_bus}: write 1, the bus on the header")


def _check_addresses(wiring: Wiring) -> None:
    box, infrared = wiring.decade_box.i2c_address, wiring.infrared.i2c_address
    if not 0x20 <= box <= 0x27:
        raise WiringError(f"decade_box.i2c_address is 0x{box:02X}: this relay chip has 0x20 to 0x27")
    if not 0x08 <= infrared <= 0x77:
        raise WiringError(f"infrared.i2c_address is 0x{infrared:02X}: a chip has 0x08 to 0x77")
    if box == infrared:
        raise WiringError(f"two chips share the I²C address 0x{box:02X}: give one another")


def _check_pins(wiring: Wiring) -> None:
    taken: dict[int, str] = {}
    for use, gpio in wiring.pins():
        if not 2 <= gpio <= 27:
            raise WiringError(f"{use}: GPIO {gpio} is not on the header (2 to 27)")
        if gpio in taken:
            raise WiringError(f"GPIO {gpio} is used twice: {taken[gpio]}, and {use}")
        taken[gpio] = use


def _check_power_on(wiring: Wiring) -> None:
    for use, gpio in wiring.pins():
        if use.startswith(("insertion", "excitation", "light")) and gpio < PULLED_UP_BELOW_GPIO:
            raise WiringError(
                f"{use}: GPIO {gpio} wakes pulled up, which would switch it on. Take one from "
                f"{PULLED_UP_BELOW_GPIO} upwards"
            )
    if wiring.button.gpio >= PULLED_UP_BELOW_GPIO:
        raise WiringError(
            f"button: GPIO {wiring.button.gpio} wakes pulled down, against its pull-up. Take one below "
            f"{PULLED_UP_BELOW_GPIO}"
        )


def _check_voltages(wiring: Wiring) -> None:
    limit_v = wiring.supply.pin_limit_v
    if limit_v > 3.3:
        raise WiringError(f"supply.pin_limit_v is {limit_v:g}: a pin of the Pi stands 3.3 V")
    volts = {
        "converter.supply_v": wiring.converter.supply_v,
        "converter.reference_v": wiring.converter.reference_v,
        "decade_box.supply_v": wiring.decade_box.supply_v,
        "infrared.supply_v": wiring.infrared.supply_v,
        "i2c.pull_up_v": wiring.i2c.pull_up_v,
        "one_wire.pull_up_v": wiring.one_wire.pull_up_v,
        "button.pull_up_v": wiring.button.pull_up_v,
    }
    for name, volt in volts.items():
        if volt > limit_v:
            raise WiringError(f"{name} is {volt:g} V: {limit_v:g} V is the most that may reach a pin")
    if not 0.25 <= wiring.converter.reference_v <= wiring.converter.supply_v:  # DS21298E
        raise WiringError("converter.reference_v must be from 0.25 V to the converter's supply")


def _check_inputs(wiring: Wiring) -> None:
    inputs = [
        tap
        for channel in wiring.channels.values()
        for tap in (channel.tap1, channel.tap2, *{each.tap0 for each in channel.ranges})
    ]
    for tap in inputs:
        if not 0 <= tap < CONVERTER_INPUTS:
            raise WiringError(f"converter input {tap} does not exist (0 to {CONVERTER_INPUTS - 1})")
        if inputs.count(tap) > 1:
            raise WiringError(f"converter input {tap} is used twice")


def _check_chains(wiring: Wiring) -> None:
    """A range is known by its reference; two that share a top tap differ by what stands between them."""
    for name, channel in wiring.channels.items():
        references = Counter(each.reference_ohm for each in channel.ranges)
        twice = [ohm for ohm, count in references.items() if count > 1]
        if twice:
            raise WiringError(f"{name}: two ranges have {twice[0]:g} Ω; a range is known by its reference")
        if not channel.free_ranges:
            raise WiringError(f"{name}: every range is ordered_only, so that none is left to start with")
        for each in channel.ranges:
            low_ohm, high_ohm = wiring.reportable.span_ohm(each)
            if not 0 < low_ohm < high_ohm:
                raise WiringError(f"{name}, {each.reference_ohm:g} Ω range: its span is empty")
        by_reference = sorted(channel.free_ranges, key=lambda each: each.reference_ohm)
        for lower, upper in pairwise(by_reference):
            top_ohm = wiring.reportable.span_ohm(lower)[1]
            if top_ohm < wiring.reportable.span_ohm(upper)[0]:
                raise WiringError(
                    f"{name}: nothing measures from {top_ohm:.0f} Ω on, between two of its ranges"
                )


def _check_currents(wiring: Wiring) -> None:
    shorted_ma = 0.0
    for name, channel in wiring.channels.items():
        for each in channel.ranges:
            current_ma = wiring.peak_current_ma(name, each)
            limit_ma = wiring.current_limit_ma(each)
            if limit_ma > wiring.bench.current_limit_ma and not each.ordered_only:
                raise WiringError(
                    f"{name}, {each.reference_ohm:g} Ω range: a range with a current_limit_ma above the "
                    "bench's must be ordered_only"
                )
            if limit_ma > 10.0:
                raise WiringError(
                    f"{name}, {each.reference_ohm:g} Ω range: current_limit_ma is over 10 mA, too much for "
                    "any sender"
                )
            if current_ma > limit_ma:
                raise WiringError(
                    f"{name}, {each.reference_ohm:g} Ω range: {current_ma:.3f} mA through the device, over "
                    f"current_limit_ma {limit_ma:g}: a larger ballast_ohm brings it down"
                )
        shorted_ma += max(
            1000 * wiring.converter.reference_v / wiring.loop_ohm(name, r) for r in channel.ranges
        )
    if shorted_ma > wiring.converter.buffer_limit_ma:
        raise WiringError(
            f"with every clip shorted {shorted_ma:.1f} mA flow, over buffer_limit_ma "
            f"{wiring.converter.buffer_limit_ma:g}: larger ballasts bring it down"
        )


def _check_rails(wiring: Wiring) -> None:
    """No code sits at 0 or at full scale, where an offset would hide."""
    for name, channel in wiring.channels.items():
        for each in channel.ranges:
            _, high_ohm = wiring.reportable.span_ohm(each)
            count_per_ohm = 4096.0 / (wiring.loop_ohm(name, each) + high_ohm)
            least_ohm = min(each.ballast_ohm, channel.lift_ohm(each))
            if least_ohm * count_per_ohm < RAIL_COUNT:
                raise WiringError(
                    f"{name}, {each.reference_ohm:g} Ω range: at {high_ohm:.0f} Ω a tap comes within "
                    f"{RAIL_COUNT:g} codes of a rail: a larger ballast_ohm or return_lift_ohm"
                )


def _check_errors(wiring: Wiring) -> None:
    for name, channel in wiring.channels.items():
        for each in channel.ranges:
            error, device_ohm = _largest_error(wiring, channel, each)
            if 100.0 * error > each.stated_error_percent:
                raise WiringError(
                    f"{name}, {each.reference_ohm:g} Ω range: {100 * error:.2f} % at {device_ohm:.0f} Ω, "
                    f"over stated_error_percent {each.stated_error_percent:g}: narrow its span or state more"
                )


def _largest_error(wiring: Wiring, channel: ChannelWiring, each: RangeWiring) -> tuple[float, float]:
    low_ohm, high_ohm = wiring.reportable.span_ohm(each)
    step = (high_ohm / low_ohm) ** (1.0 / POINTS_OF_A_SPAN)
    points = [low_ohm * step**number for number in range(POINTS_OF_A_SPAN + 1)]
    return max((wiring.worst_error(channel.name, each, ohm), ohm) for ohm in points)


def _check_settling(wiring: Wiring) -> None:
    """The capacitors at the taps are full before the first conversion, whatever hangs on the clips."""
    for name, channel in wiring.channels.items():
        for each in channel.ranges:
            chain_ohm = (
                max(r.reference_ohm for r in channel.ranges if r.tap0 == each.tap0) - each.reference_ohm
            )
            source_ohm = wiring.converter.tap_series_ohm + chain_ohm + each.ballast_ohm + each.reference_ohm
            settled_s = SETTLED_TIME_CONSTANTS * source_ohm * wiring.converter.tap_capacitor_nf * 1e-9
            if settled_s > wiring.sampling.settle_s:
                raise WiringError(
                    f"{name}, {each.reference_ohm:g} Ω range: its taps settle in {1000 * settled_s:.1f} ms, "
                    f"settle_s gives {1000 * wiring.sampling.settle_s:g} ms: take a smaller tap_capacitor_nf"
                )


def _check_clamps(wiring: Wiring) -> None:
    clamp_ma = 1000 * (MISTAKEN_CLIP_V - wiring.converter.supply_v) / wiring.converter.tap_series_ohm
    if clamp_ma > CLAMP_LIMIT_MA:
        raise WiringError(
            f"{MISTAKEN_CLIP_V:g} V on a clip by mistake would push {clamp_ma:.1f} mA into the converter, "
            f"over {CLAMP_LIMIT_MA:g} mA: take a larger tap_series_ohm"
        )


def _check_relay_drive(wiring: Wiring) -> None:
    relay, supply = wiring.relay, wiring.supply
    place_ma = relay.coil_ma * relay.coils_per_place
    if max(place_ma, relay.coil_ma) > relay.driver_limit_ma:
        raise WiringError(f"relay: {place_ma:g} mA of coils on one driver, over {relay.driver_limit_ma:g} mA")
    all_ma = relay.coil_ma * len(wiring.decade_box.step_ohm) + place_ma
    if all_ma > supply.relay_limit_ma:
        raise WiringError(
            f"relay: {all_ma:.0f} mA with every coil of the box pulled in, over relay_limit_ma "
            f"{supply.relay_limit_ma:g}"
        )
    pull_down_ma = 1000 * supply.pin_limit_v / relay.pull_down_ohm
    if relay.driver_input_ma + pull_down_ma > supply.pin_limit_ma:
        raise WiringError(
            f"relay: a pin would give {relay.driver_input_ma:g} mA, over {supply.pin_limit_ma:g}"
        )
    if relay.driver_input_ma * len(wiring.decade_box.step_ohm) > EXPANDER_LIMIT_MA:
        raise WiringError("relay: the drivers of the box ask too much of the relay chip (125 mA in all)")
    if not 0 < relay.bounce_s < relay.release_s < wiring.bench.relay_settle_s:
        raise WiringError("relay: bounce_s, release_s and bench.relay_settle_s must rise in that order")


def _check_pull_ups(wiring: Wiring) -> None:
    i2c, witness, button = wiring.i2c, wiring.one_wire, wiring.button
    for name, ohm in (
        ("i2c", i2c.pull_up_ohm),
        ("one_wire", witness.pull_up_ohm),
        ("button", button.pull_up_ohm),
    ):
        if ohm <= 0:
            raise WiringError(f"{name}.pull_up_ohm is {ohm:g}: without a pull-up the line never rises")
    if 1000 * i2c.pull_up_v / i2c.pull_up_ohm > I2C_SINK_MA:
        raise WiringError(f"i2c.pull_up_ohm is too small: a chip sinks {I2C_SINK_MA:g} mA at most")
    rise_ns = 0.8473 * i2c.pull_up_ohm * i2c.bus_pf * 1e-3  # UM10204, 7.1
    if rise_ns > I2C_RISE_NS:
        raise WiringError(
            f"i2c: lines rise in {rise_ns:.0f} ns, over {I2C_RISE_NS:.0f} ns: a shorter cable or a smaller "
            "pull_up_ohm"
        )
    if 1000 * witness.pull_up_v / witness.pull_up_ohm > ONE_WIRE_SINK_MA:
        raise WiringError(
            f"one_wire.pull_up_ohm is too small: the sensor sinks {ONE_WIRE_SINK_MA:g} mA at most"
        )


def _check_light(wiring: Wiring) -> None:
    light = wiring.light
    if light.series_ohm <= 0:
        raise WiringError("light.series_ohm must limit the current: 470 ohm does")
    current_ma = 1000 * (wiring.supply.pin_limit_v - light.forward_v) / light.series_ohm
    if not 0.5 <= current_ma <= wiring.supply.pin_limit_ma:
        raise WiringError(
            f"light: {current_ma:.1f} mA, not from 0.5 to {wiring.supply.pin_limit_ma:g}: another series_ohm"
        )


def _check_decade_box(wiring: Wiring) -> None:
    expected = tuple(weight * decade for decade in (1, 10, 100, 1000) for weight in (1, 2, 4, 8))
    if wiring.decade_box.step_ohm != expected:
        raise WiringError("decade_box.step_ohm must be 1, 2, 4, 8 times 1, 10, 100, 1000, in that order")


def _check_duty(wiring: Wiring) -> None:
    if wiring.duty > wiring.bench.duty_limit + 1e-9:
        raise WiringError(
            f"a device would carry current {wiring.duty:.1%} of the time, over duty_limit "
            f"{wiring.bench.duty_limit:.0%}: fewer mains cycles, less settling, or a longer pass_interval_s"
        )
