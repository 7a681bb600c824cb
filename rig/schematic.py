"""Draws the circuit from the wiring map, as SVG; the same map always gives the same bytes."""

from typing import Literal

import schemdraw
import schemdraw.elements as elm

from rig.wiring import ChannelWiring, RangeWiring, Wiring

BRANCH_WIDTH = 4.6
LINE_WIDTH = 1.4
SMALL = 11
LARGE = 13
HEADING = 16

Point = tuple[float, float]


def schematic_svg(wiring: Wiring) -> bytes:
    """Schematic of a wiring, drawn by schemdraw's own SVG writer.

    Parameters
    ----------
    wiring : Wiring
        As the wiring file has it.
    """
    schemdraw.use("svg")
    schemdraw.svgconfig.text = "text"  # words stay words, and no font is drawn into the file
    sheet = schemdraw.Drawing(show=False, canvas="svg")
    sheet.config(fontsize=LARGE, lw=LINE_WIDTH, unit=2.4, bgcolor="white", font="sans-serif", margin=0.6)
    drawing = _Sheet(sheet, wiring)
    drawing.sender(at=(0.0, 0.0))
    drawing.probe(at=(21.0, 0.0))
    drawing.decade_box(at=(1.6, -24.0))
    drawing.digital(at=(0.0, -28.0))
    return sheet.get_imagedata("svg")


class _Sheet:
    """One drawing in progress; positions in schemdraw's units, y upwards."""

    def __init__(self, drawing: schemdraw.Drawing, wiring: Wiring) -> None:
        self._drawing = drawing
        self._wiring = wiring

    # what is drawn

    def sender(self, *, at: Point) -> None:
        """The sender's channel with its four places for the box."""
        x, y = at
        channel = self._wiring.channels["sender"]
        insertion = self._wiring.insertion
        self._heading((x - 0.6, y + 2.6), "Sender channel")
        tap1 = self._ranges(channel, at)
        self._line(tap1, (tap1[0], tap1[1] - 0.8))
        places = (
            (
                "sender",
                f"GPIO {insertion.sender_gpio}",
                "channel high to box high, box low to low",
            ),
            ("series", f"GPIO {insertion.series_gpio}", "channel high to box high, box low to sender high"),
            ("parallel", f"GPIO {insertion.parallel_gpio}", "box high to sender high, box low to sender low"),
        )
        bottom = self._device((tap1[0], tap1[1] - 0.8), "sender", places)
        self._lift(bottom, channel)

    def probe(self, *, at: Point) -> None:
        """The probe's channel."""
        x, y = at
        channel = self._wiring.channels["probe"]
        self._heading((x - 0.6, y + 2.6), "Probe channel")
        tap1 = self._ranges(channel, at)
        self._line(tap1, (tap1[0], tap1[1] - 0.8))
        places = (
            (
                "probe",
                f"GPIO {self._wiring.insertion.probe_gpio}",
                "channel high to box high, box low to low",
            ),
        )
        bottom = self._device((tap1[0], tap1[1] - 0.8), "probe", places)
        self._lift(bottom, channel)

    def decade_box(self, *, at: Point) -> None:
        """Sixteen resistors in series, a contact that is closed at rest across each."""
        x, y = at
        box = self._wiring.decade_box
        self._heading(
            (x - 0.6, y + 2.4),
            f"Decade box: relays on the port expander at 0x{box.i2c_address:02X}, contacts closed at rest",
        )
        self._dot((x, y), "to the insertion relays", side="left")
        for number, step_ohm in enumerate(box.step_ohm):
            left, right = x + 0.4 + number * 2.1, x + 2.5 + number * 2.1
            port = "AB"[number // 8]
            self._add(
                elm.Resistor()
                .at((left, y))
                .to((right, y))
                .label(f"{step_ohm} Ω", loc="bottom", fontsize=SMALL)
            )
            self._line((left + 0.15, y), (left + 0.15, y + 0.9))
            self._line((right - 0.15, y), (right - 0.15, y + 0.9))
            self._add(elm.Button(nc=True).at((left + 0.15, y + 0.9)).to((right - 0.15, y + 0.9)))
            self._words((left + 1.05, y + 1.5), f"{port}{number % 8}", align="center")
        self._line((x, y), (x + 0.4, y))
        self._dot((x + 0.4 + len(box.step_ohm) * 2.1, y), "", side="right")

    def digital(self, *, at: Point) -> None:
        """Everything that hangs on the pins."""
        x, y = at
        wiring = self._wiring
        self._heading((x - 0.6, y + 1.0), "On the pins of the Pi")
        rows = (
            _spi_row(wiring),
            _i2c_row(wiring),
            (
                f"GPIO {wiring.one_wire.gpio}",
                f"witness (1-wire), {wiring.one_wire.pull_up_ohm:g} Ω to {wiring.one_wire.pull_up_v:g} V",
            ),
            (
                f"GPIO {wiring.button.gpio}",
                f"shot button to ground, {wiring.button.pull_up_ohm:g} Ω to {wiring.button.pull_up_v:g} V",
            ),
            (f"GPIO {wiring.light.gpio}", f"status light through {wiring.light.series_ohm:g} Ω to ground"),
            (
                "insertion GPIOs",
                f"transistor array, {wiring.relay.coils_per_place:g} coils of {wiring.relay.coil_ma:g} mA at "
                f"{wiring.supply.relay_v:g} V, {wiring.relay.pull_down_ohm / 1000:g} kΩ from pin to ground",
            ),
            ("excitation GPIOs", "analog switches, active high, one of a channel at a time"),
            (
                "converter inputs",
                f"each tap through {wiring.converter.tap_series_ohm / 1000:g} kΩ, "
                f"{wiring.converter.tap_capacitor_nf:g} nF to ground",
            ),
        )
        for number, (left, right) in enumerate(rows):
            row_y = y - 0.9 * number
            self._words((x - 0.6, row_y), left)
            self._line((x + 5.2, row_y + 0.05), (x + 6.2, row_y + 0.05))
            self._words((x + 6.6, row_y), right)

    # parts of a channel

    def _ranges(self, channel: ChannelWiring, at: Point) -> Point:
        """Branches side by side, joined at tap 1; gives that node. A chain is drawn as one branch."""
        x, y = at
        branches = _branches(channel)
        reference_v = self._wiring.converter.reference_v
        self._dot(
            (x, y + 1.2), f"{reference_v:.2f} V, buffered; also the converter's reference", side="right"
        )
        self._line((x, y + 1.2), (x, y + 0.4))
        bottom_y = y - 8.6
        xs = []
        for number, branch in enumerate(branches):
            branch_x = x + number * BRANCH_WIDTH
            xs.append(branch_x)
            self._branch((branch_x, y + 0.4), branch, bottom_y)
        # rails: excitation along the top, tap 1 along the bottom
        width = BRANCH_WIDTH * (len(branches) - 1) + max(
            0.0, BRANCH_WIDTH * (max(len(b) for b in branches) - 1)
        )
        self._line((x, y + 0.4), (x + width, y + 0.4))
        if len(branches) > 1:
            self._line((xs[0], bottom_y), (xs[-1], bottom_y))
        self._dot((xs[0], bottom_y), f"tap 1 = input {channel.tap1}", side="left")
        return xs[0], bottom_y

    def _branch(self, top: Point, ranges: list[RangeWiring], bottom_y: float) -> None:
        """One branch; the largest range is fed at its top, the others further down the chain."""
        x, y = top
        node_y = y - 5.0
        largest = ranges[0]
        self._feed((x, y), node_y, largest)
        self._dot((x, node_y), f"tap 0 = input {largest.tap0}", side="left")
        step_y = (node_y - bottom_y) / len(ranges)
        for number, each in enumerate(ranges):
            below_ohm = ranges[number + 1].reference_ohm if number + 1 < len(ranges) else 0.0
            upper, lower = (x, node_y - step_y * number), (x, node_y - step_y * (number + 1))
            self._resistor(upper, lower, f"{each.reference_ohm - below_ohm:g} Ω 0.1 %")
            if below_ohm:
                side_x = x + BRANCH_WIDTH
                self._feed((side_x, y), node_y, ranges[number + 1])
                self._line((side_x, node_y), (side_x, lower[1]))
                self._line((side_x, lower[1]), lower)
                self._dot(lower, "", side="left")

    def _feed(self, top: Point, node_y: float, each: RangeWiring) -> None:
        x, y = top
        self._add(elm.Switch().at((x, y)).to((x, y - 2.2)))
        self._words((x + 0.55, y - 0.8), f"GPIO {each.excitation_gpio}")
        self._words((x + 0.55, y - 1.4), f"{each.reference_ohm:g} Ω range")
        self._resistor((x, y - 2.2), (x, node_y), f"{each.ballast_ohm:g} Ω")

    def _device(self, top: Point, name: str, places: tuple[tuple[str, str, str], ...]) -> Point:
        """Insertion relays as a box of words, and the device on its clips; gives the lower clip."""
        x, y = top
        height = 1.2 + 0.7 * len(places)
        left, right, low = x - 0.8, x + 11.4, y - height
        for start, end in (
            ((left, y), (right, y)),
            ((right, y), (right, low)),
            ((right, low), (left, low)),
            ((left, low), (left, y)),
        ):
            self._line(start, end)
        self._words(
            (x - 0.4, y - 0.55),
            "insertion relays, at most one place pulled in; all at rest: channel to device",
        )
        for number, (place, gpio, words) in enumerate(places):
            self._words((x - 0.4, y - 1.25 - 0.7 * number), f"{gpio}  {place}: {words}")
        self._line((x, y - height), (x, y - height - 0.4))
        lower = (x, y - height - 2.6)
        self._add(elm.Thermistor().at((x, y - height - 0.4)).to(lower))
        self._words((x + 0.9, y - height - 1.4), f"{name} on its clips; force and sense")
        self._words((x + 0.9, y - height - 1.9), "wires meet at the clips")
        return lower

    def _lift(self, top: Point, channel: ChannelWiring) -> None:
        x, y = top
        self._dot((x, y), f"tap 2 = input {channel.tap2}", side="left")
        self._resistor((x, y), (x, y - 2.4), f"{channel.return_lift_ohm:g} Ω")
        self._add(elm.Ground().at((x, y - 2.4)))
        beside = [each for each in channel.ranges if each.lift_beside_ohm is not None]
        for number, each in enumerate(beside):
            side_x = x + 3.2 + 3.4 * number
            self._line((x, y), (side_x, y))
            self._resistor((side_x, y), (side_x, y - 1.5), f"{each.lift_beside_ohm:g} Ω")
            self._add(elm.Switch().at((side_x, y - 1.5)).to((side_x, y - 3.0)))
            self._words((side_x + 0.55, y - 2.2), f"with GPIO {each.excitation_gpio}")
            self._add(elm.Ground().at((side_x, y - 3.0)))

    # strokes

    def _add(self, element: elm.Element) -> None:
        self._drawing.add(element)

    def _line(self, start: Point, end: Point) -> None:
        self._add(elm.Line().at(start).to(end))

    def _resistor(self, start: Point, end: Point, words: str) -> None:
        self._add(elm.Resistor().at(start).to(end))
        self._words((start[0] + 0.45, (start[1] + end[1]) / 2 - 0.1), words)

    def _dot(self, at: Point, words: str, *, side: str) -> None:
        self._add(elm.Dot().at(at))
        if words:
            offset = -0.25 if side == "left" else 0.35
            self._words((at[0] + offset, at[1] + 0.1), words, align="right" if side == "left" else "left")

    def _words(self, at: Point, words: str, *, align: Literal["center", "left", "right"] = "left") -> None:
        label = elm.Label().at(at).theta(0)
        self._add(label.label(words, loc="center", halign=align, valign="base", ofst=0, fontsize=SMALL))

    def _heading(self, at: Point, words: str) -> None:
        label = elm.Label().at(at).theta(0)
        self._add(label.label(words, loc="center", halign="left", valign="base", ofst=0, fontsize=HEADING))


def _branches(channel: ChannelWiring) -> list[list[RangeWiring]]:
    """Ranges that share a top tap together, the largest first."""
    found: dict[int, list[RangeWiring]] = {}
    for each in channel.ranges:
        found.setdefault(each.tap0, []).append(each)
    return [sorted(branch, key=lambda each: -each.reference_ohm) for branch in found.values()]


def _spi_row(wiring: Wiring) -> tuple[str, str]:
    pins = [gpio for use, gpio in wiring.pins() if use == "SPI"]
    words = f"converter MCP3208-B, {wiring.converter.supply_v:g} V: select, MISO, MOSI, clock"
    return f"GPIO {', '.join(map(str, pins))}", words


def _i2c_row(wiring: Wiring) -> tuple[str, str]:
    pins = [gpio for use, gpio in wiring.pins() if use == "I²C"]
    words = (
        f"SDA, SCL: relay chip 0x{wiring.decade_box.i2c_address:02X}, infrared sensor "
        f"0x{wiring.infrared.i2c_address:02X}; {wiring.i2c.pull_up_ohm:g} Ω to {wiring.i2c.pull_up_v:g} V"
    )
    return f"GPIO {', '.join(map(str, pins))}", words
