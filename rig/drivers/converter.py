"""The 12-bit converter: mean counts of three taps, interleaved over whole mains cycles.

gpiozero's driver is used as it is. Its ``value`` and ``voltage`` carry half-code offsets, so that only
``raw_value`` is read.
"""

import warnings
from collections.abc import Iterable
from typing import Any

from gpiozero import MCP3208, SPISoftwareFallback

from rig.drivers.pacing import Pacer
from rig.wiring import ConverterWiring, SamplingPlan

FULL_SCALE_COUNT = 4096


class TapConverter:
    """Reads tap counts through gpiozero.

    Parameters
    ----------
    wiring : ConverterWiring
        Where the chip is.
    inputs : iterable of int
        Inputs to be read, 0 to 7.
    pacer : Pacer
        Spreads the conversions over time.
    pin_factory : gpiozero factory or None
        None takes gpiozero's own choice.
    """

    def __init__(
        self, *, wiring: ConverterWiring, inputs: Iterable[int], pacer: Pacer, pin_factory: Any = None
    ) -> None:
        self._pacer = pacer
        with warnings.catch_warnings():
            # With SPI switched off gpiozero would toggle pins in software, far too slowly for the plan.
            warnings.simplefilter("error", SPISoftwareFallback)
            self._inputs = {
                channel: MCP3208(
                    channel=channel,
                    port=wiring.spi_port,
                    device=wiring.spi_device,
                    pin_factory=pin_factory,
                )
                for channel in inputs
            }

    def mean_counts(self, taps: tuple[int, int, int], plan: SamplingPlan) -> tuple[float, float, float]:
        """Mean counts of three inputs, by the plan; the caller has settled the circuit. [count]"""
        next_slot = self._pacer.next
        sums = [0, 0, 0]
        self._pacer.start(plan.interval_s)
        for _ in range(plan.rounds):
            for tap, channel in enumerate(taps):
                chip = self._inputs[channel]
                for _ in range(plan.discard):
                    next_slot()
                    _ = chip.raw_value  # the sample capacitor still holds some of the tap before
                total = 0
                for _ in range(plan.block):
                    next_slot()
                    total += chip.raw_value
                sums[tap] += total
        kept = plan.rounds * plan.block
        return sums[0] / kept, sums[1] / kept, sums[2] / kept

    def close(self) -> None:
        """Let go of the bus."""
        for chip in self._inputs.values():
            chip.close()
