"""The wiring map in words, for a terminal of 80 columns."""

from collections.abc import Sequence

from gpiozero.pins.pi import PiBoardInfo

from rig.wiring import Wiring

COLUMNS = 80
PI_4B = 0xC03114  # every board with 40 pins has this header


def wiring_lines(wiring: Wiring) -> list[str]:
    """Pins, ranges, buses and relays, no line longer than `COLUMNS`."""
    return [
        "PINS",
        *_table(("pin", "GPIO", "what hangs on it"), _pin_rows(wiring)),
        "",
        "RANGES (error before the ohms check; power while sampling)",
        *_table(
            ("channel", "reference", "span", "error", "current", "limit", "worst power", ""),
            _range_rows(wiring),
        ),
        "* only where ordered; the probe's is for the ice point",
        "",
        f"CONVERTER INPUTS (each through {wiring.converter.tap_series_ohm / 1000:g} kΩ, "
        f"{wiring.converter.tap_capacitor_nf:g} nF to ground)",
        *_table(("input", "tap"), _input_rows(wiring)),
        "",
        "I²C BUS",
        *_table(("address", "chip"), _bus_rows(wiring)),
        "",
        "RELAYS",
        *_relay_lines(wiring),
    ]


def _pin_rows(wiring: Wiring) -> list[tuple[str, ...]]:
    header = PiBoardInfo.from_revision(PI_4B).headers["J8"]
    number_of = {pin.name: number for number, pin in header.pins.items()}
    rows = [(number_of[f"GPIO{gpio}"], gpio, use) for use, gpio in wiring.pins()]
    return [(str(number), str(gpio), use) for number, gpio, use in sorted(rows)]


def _range_rows(wiring: Wiring) -> list[tuple[str, ...]]:
    rows = []
    for name, channel in wiring.channels.items():
        for each in channel.ranges:
            low_ohm, high_ohm = wiring.reportable.span_ohm(each)
            rows.append(
                (
                    name,
                    f"{each.reference_ohm:g} Ω",
                    f"{low_ohm:.0f} to {high_ohm:.0f} Ω",
                    f"{each.stated_error_percent:g} %",
                    f"{wiring.peak_current_ma(name, each):.2f} mA",
                    f"{wiring.current_limit_ma(each):g} mA",
                    f"{wiring.worst_power_mw(name, each):.2f} mW",
                    "*" if each.ordered_only else "",
                )
            )
    return rows


def _input_rows(wiring: Wiring) -> list[tuple[str, ...]]:
    taps: dict[int, str] = {}
    for name, channel in wiring.channels.items():
        for each in channel.ranges:
            known = taps.get(each.tap0)
            ranges = f"{each.reference_ohm:g} Ω"
            taps[each.tap0] = f"{known} and {ranges}" if known else f"{name}, tap 0 of {ranges}"
        taps[channel.tap1] = f"{name}, tap 1"
        taps[channel.tap2] = f"{name}, tap 2"
    return [(str(number), taps[number]) for number in sorted(taps)]


def _bus_rows(wiring: Wiring) -> list[tuple[str, ...]]:
    return [
        (f"0x{wiring.decade_box.i2c_address:02X}", "relay chip of the decade box (MCP23017)"),
        (f"0x{wiring.infrared.i2c_address:02X}", "infrared sensor (MLX90614, 3 V version)"),
    ]


def _relay_lines(wiring: Wiring) -> list[str]:
    relay = wiring.relay
    box_ma = relay.coil_ma * len(wiring.decade_box.step_ohm)
    place_ma = relay.coil_ma * relay.coils_per_place
    return [
        f"decade box: {len(wiring.decade_box.step_ohm)} coils, {box_ma:g} mA at {wiring.supply.relay_v:g} V "
        "with all pulled in",
        f"insertion: {relay.coils_per_place:g} coils a place, {place_ma:g} mA; one place at a time, "
        f"{1000 * relay.release_s:g} ms between",
        f"no pin sees more than {wiring.supply.pin_limit_v:g} V; "
        f"a pin gives {relay.driver_input_ma:g} mA to a driver",
    ]


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    widths = [max(len(row[column]) for row in (head, *rows)) for column in range(len(head))]
    return [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in (head, *rows)
    ]
