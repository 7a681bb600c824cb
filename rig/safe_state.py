"""Everything off, whatever else is broken: each part is tried by itself, and what failed is named.

It needs no outbox, no other program to have ended, and no chip to answer before the next one is tried.
A killed program leaves pins as they are, so the service runs this after every stop and before every start.
Written from library sources; untested on a Raspberry Pi.
"""

import logging
import os
import tempfile
from collections.abc import Callable
from typing import Any

from gpiozero import DigitalOutputDevice

from rig.drivers.i2c import I2CBus
from rig.drivers.kernel_i2c import kernel_i2c_bus
from rig.drivers.port_expander import PortExpander
from rig.wiring import Wiring

log = logging.getLogger(__name__)


def output_gpios(wiring: Wiring) -> list[int]:
    """Every pin that drives a relay or excitation, active high."""
    return [gpio for use, gpio in wiring.pins() if use.startswith(("excitation", "insertion relay"))]


def make_safe(
    wiring: Wiring, *, i2c_bus: Callable[[int], I2CBus] | None = None, pin_factory: Any = None
) -> list[str]:
    """Put all relays and all excitation off.

    Parameters
    ----------
    i2c_bus : Callable[[int], I2CBus] or None
        Opens the bus of that number, and may fail; None takes the kernel's.
    pin_factory : gpiozero factory or None
        None takes gpiozero's own choice.

    Returns
    -------
    list[str]
        What could not be put off, in words; empty where all is off.
    """
    os.environ.setdefault("LG_WD", tempfile.gettempdir())  # where the pin library leaves its pipe
    failed = []
    for gpio in output_gpios(wiring):
        try:
            DigitalOutputDevice(gpio, initial_value=False, pin_factory=pin_factory).close()
        except Exception as error:  # one pin that cannot be had must not keep the others on
            log.debug("GPIO %d", gpio, exc_info=True)
            failed.append(f"GPIO {gpio}: {error}")
    try:
        PortExpander(
            bus=(i2c_bus or kernel_i2c_bus)(wiring.i2c_bus), address=wiring.decade_box.i2c_address
        ).start()
    except Exception as error:
        log.debug("relay chip", exc_info=True)
        failed.append(f"the decade box: {error}")
    return failed
