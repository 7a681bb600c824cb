"""The simulated board: what its resistors, switches, relays and converter really are."""

from dataclasses import dataclass

import numpy as np

from rig.wiring import ChannelWiring, RangeWiring, Wiring

NOMINAL_C = 25.0
CODES = 4096


@dataclass(frozen=True, slots=True, kw_only=True)
class RealResistor:
    """A resistor as delivered, with its temperature coefficient."""

    at_25_ohm: float
    per_k: float

    def at(self, temperature_c: float) -> float:
        """Resistance at a temperature. [Ω]"""
        return self.at_25_ohm * (1.0 + self.per_k * (temperature_c - NOMINAL_C))

    @classmethod
    def draw(
        cls, chance: np.random.Generator, *, nominal_ohm: float, tolerance: float, per_k: float
    ) -> "RealResistor":
        """Draw one within its tolerance and temperature coefficient."""
        return cls(
            at_25_ohm=nominal_ohm * (1.0 + chance.uniform(-tolerance, tolerance)),
            per_k=chance.uniform(-per_k, per_k),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RealRange:
    """One range as built. The switch lies with the ballast, outside the ratio.

    Attributes
    ----------
    chain : RealRange or None
        The range whose reference stands below this one's, where both share tap 0.
    """

    nominal_ohm: float
    excitation_gpio: int
    tap0: int
    above_tap0_ohm: float
    lift_ohm: float
    own: RealResistor
    chain: "RealRange | None" = None

    def reference_at(self, temperature_c: float) -> float:
        """Between tap 0 and tap 1: its own resistor, and those that stand below it. [Ω]"""
        below_ohm = 0.0 if self.chain is None else self.chain.reference_at(temperature_c)
        return self.own.at(temperature_c) + below_ohm


@dataclass(frozen=True, slots=True, kw_only=True)
class RealChannel:
    """One channel as built; the clips lie inside the ratio, with the device."""

    tap1: int
    tap2: int
    clips_ohm: float
    contact_ohm: float
    ranges: tuple[RealRange, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """Everything electrical, drawn once from the seed."""

    channels: dict[str, RealChannel]
    above_room_k: float
    mains_hz: float
    hum_count: float

    @classmethod
    def draw(cls, chance: np.random.Generator, wiring: Wiring) -> "Board":
        """Draw a board by the tolerances that stand in the wiring file."""
        return cls(
            channels={
                name: _draw_channel(chance, channel, chance.spawn(1)[0])
                for name, channel in wiring.channels.items()
            },
            above_room_k=chance.uniform(3.0, 8.0),
            mains_hz=wiring.bench.mains_hz + chance.uniform(-0.02, 0.02),
            hum_count=chance.uniform(0.5, 2.0),
        )


def _draw_channel(
    chance: np.random.Generator, channel: ChannelWiring, later: np.random.Generator
) -> RealChannel:
    """Draw one channel; ranges that are only ordered come from ``later``, and change no other part."""
    lift = 1.0 + chance.uniform(-0.01, 0.01)
    clips_ohm = chance.uniform(0.01, 0.04)
    drawn: dict[float, RealRange] = {}
    for each in sorted(channel.ranges, key=lambda each: each.ordered_only):
        below = _below(each, drawn)
        source = later if each.ordered_only else chance
        ballast_ohm = each.ballast_ohm * (1.0 + source.uniform(-0.01, 0.01)) + source.uniform(0.5, 8.0)
        own = RealResistor.draw(
            source,
            nominal_ohm=each.reference_ohm - (0.0 if below is None else below.nominal_ohm),
            tolerance=0.001,
            per_k=25e-6,
        )
        drawn[each.reference_ohm] = RealRange(
            nominal_ohm=each.reference_ohm,
            excitation_gpio=each.excitation_gpio,
            tap0=each.tap0,
            above_tap0_ohm=ballast_ohm,
            lift_ohm=channel.lift_ohm(each) * lift,
            own=own,
            chain=below,
        )
    return RealChannel(
        tap1=channel.tap1,
        tap2=channel.tap2,
        clips_ohm=clips_ohm,
        contact_ohm=later.uniform(0.02, 0.06),
        ranges=tuple(drawn[each.reference_ohm] for each in channel.ranges),
    )


def _below(upper: RangeWiring, drawn: dict[float, RealRange]) -> RealRange | None:
    """The largest range below that has the same top tap."""
    sharing = [r for r in drawn.values() if r.tap0 == upper.tap0 and r.nominal_ohm < upper.reference_ohm]
    return max(sharing, key=lambda r: r.nominal_ohm, default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class RealDecadeBox:
    """The decade box as built: sixteen steps, each with a relay contact across it.

    Attributes
    ----------
    steps : tuple of RealResistor
        In the order of the wiring file.
    contact_ohm : tuple of float
        The closed contact across each. [Ω]
    leads_ohm : float
        Wires from the box to the clips. [Ω]
    """

    steps: tuple[RealResistor, ...]
    contact_ohm: tuple[float, ...]
    leads_ohm: float

    @classmethod
    def draw(cls, chance: np.random.Generator, step_ohm: tuple[int, ...]) -> "RealDecadeBox":
        """Draw a box: 0.1 % resistors, 5 ppm/K, relay contacts of some tens of milliohms."""
        return cls(
            steps=tuple(
                RealResistor.draw(chance, nominal_ohm=float(ohm), tolerance=0.001, per_k=5e-6)
                for ohm in step_ohm
            ),
            contact_ohm=tuple(chance.uniform(0.02, 0.06) for _ in step_ohm),
            leads_ohm=chance.uniform(0.02, 0.05),
        )

    def resistance_ohm(self, open_contacts: int, temperature_c: float) -> float:
        """Resistance with these contacts open. [Ω]"""
        total_ohm = self.leads_ohm
        for number, (step, contact_ohm) in enumerate(zip(self.steps, self.contact_ohm, strict=True)):
            step_ohm = step.at(temperature_c)
            if not open_contacts >> number & 1:
                step_ohm = step_ohm * contact_ohm / (step_ohm + contact_ohm)
            total_ohm += step_ohm
        return total_ohm


def draw_thresholds(chance: np.random.Generator) -> list[float]:
    """Input, in counts, at which each code begins: offset and integral non-linearity of a B-grade MCP3208.

    A bow over the whole span, steps where high bits of a successive-approximation converter change, and a
    little of each code's own. Scaled to a largest departure of 0.5 to 0.95 LSB (data sheet: ±1 LSB at most,
    ±0.75 typical); offset within the typical ±1.25 LSB.
    """
    x = np.arange(CODES) / CODES
    bow = sum(chance.normal() / order * np.sin(np.pi * order * x) for order in (1, 2, 3, 4))
    local = chance.normal(0.0, 0.08, CODES)
    codes = np.arange(CODES)
    for bit in (11, 10, 9, 8, 7):
        local = local + chance.normal(0.0, 0.12) * ((codes >> bit & 1) - 0.5)
    departure = bow + local
    departure = departure - departure[0] - (departure[-1] - departure[0]) * x
    departure *= chance.uniform(0.5, 0.95) / np.max(np.abs(departure))
    thresholds = codes - 0.5 + departure + chance.uniform(-1.25, 1.25)
    return [float(value) for value in np.maximum.accumulate(thresholds)[1:]]
