"""The witness: a 1-wire thermometer through w1thermsensor, every fault of it told apart."""

import os
import threading
from dataclasses import dataclass
from pathlib import Path

from calibration.contract.readings import ChannelReading, Quality
from rig.clock import Clock

# Before the import: without it the package loads kernel modules and waits for them.
os.environ.setdefault("W1THERMSENSOR_NO_KERNEL_MODULE", "1")
from w1thermsensor import W1ThermSensor  # noqa: E402 - the line above must come first
from w1thermsensor.errors import NoSensorFoundError, ResetValueError, SensorNotReadyError  # noqa: E402

KERNEL_TREE = Path("/sys/bus/w1/devices")
POWER_ON_C = 85.0  # scratchpad after power-on (data sheet, table 1)
COUNTS_PER_K = 16  # 12-bit resolution

# A bath passes 85.0 °C too. The value is taken as true only beside a good neighbour from which a bath can
# have come: it moves by less than this, and a few codes of noise are allowed for.
NEIGHBOUR_RATE_K_PER_S = 0.3
NEIGHBOUR_NOISE_K = 0.2
NEIGHBOUR_AGE_S = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Taken:
    reading: ChannelReading
    taken_s: float


def _driver_class(tree: Path) -> type[W1ThermSensor]:
    """The package's class, unchanged, looking at ``tree`` and trying once instead of for a second."""
    return type("Witness", (W1ThermSensor,), {"BASE_DIRECTORY": tree, "RETRY_ATTEMPTS": 1})


class WitnessThermometer:
    """First 1-wire thermometer of a tree.

    Parameters
    ----------
    tree : Path
        Folder with one folder for each sensor, as the kernel makes it.
    stale_after_s : float
        Age over which a conversion is no longer a reading. [s]
    """

    def __init__(self, *, tree: Path, stale_after_s: float) -> None:
        self._class = _driver_class(tree)
        self._stale_after_s = stale_after_s
        self._sensor: W1ThermSensor | None = None
        self._latest: _Taken | None = None
        self._last_good: _Taken | None = None

    def convert(self, now_s: float) -> None:
        """Make one conversion and keep it, stamped ``now_s``; takes 0.75 s on metal. [s]"""
        taken = _Taken(reading=self._convert(now_s), taken_s=now_s)
        if taken.reading.quality is Quality.GOOD:
            self._last_good = taken
        self._latest = taken

    def reading(self, now_s: float) -> ChannelReading:
        """The last conversion, as it counts at rig time ``now_s``. [s]"""
        latest = self._latest
        if latest is None:
            return ChannelReading(quality=Quality.MISSING, reason="the witness has not answered yet")
        age_s = now_s - latest.taken_s
        if age_s > self._stale_after_s:
            return ChannelReading(
                quality=Quality.STALE,
                raw=latest.reading.raw,
                reason=f"the witness last answered {age_s:.0f} s ago: check its plug",
            )
        return latest.reading

    def _convert(self, now_s: float) -> ChannelReading:
        try:
            if self._sensor is None:
                self._sensor = self._class()
            temperature_c = self._sensor.get_temperature()
        except ResetValueError:
            return self._power_on_or_true(now_s)
        except SensorNotReadyError:
            return self._not_ready()
        except (NoSensorFoundError, OSError):
            self._sensor = None  # another one may be plugged in
            return ChannelReading(
                quality=Quality.MISSING, reason="no 1-wire thermometer answers: check its plug"
            )
        except (IndexError, ValueError) as error:
            return ChannelReading(
                quality=Quality.MISSING, reason=f"the witness gave half an answer ({error}): check its plug"
            )
        return _good(temperature_c)

    def _power_on_or_true(self, now_s: float) -> ChannelReading:
        neighbour = self._last_good
        if neighbour is not None and neighbour.reading.value is not None:
            age_s = now_s - neighbour.taken_s
            reach_k = NEIGHBOUR_NOISE_K + NEIGHBOUR_RATE_K_PER_S * age_s
            if age_s <= NEIGHBOUR_AGE_S and abs(neighbour.reading.value - POWER_ON_C) <= reach_k:
                return _good(POWER_ON_C)
        return ChannelReading(
            quality=Quality.POWER_ON,
            raw=POWER_ON_C * COUNTS_PER_K,
            reason="85.0 °C is what the witness says after power-on, and its neighbours do not bear it out",
        )

    def _not_ready(self) -> ChannelReading:
        """Tell a wrong checksum from no data at all: the package has one error for both."""
        assert self._sensor is not None
        try:
            first_line = self._sensor.sensorpath.read_text(encoding="ascii", errors="replace").split("\n")[0]
        except OSError:
            first_line = ""
        if first_line.strip().endswith("NO") and "00 00 00 00 00 00 00 00 00" not in first_line:
            return ChannelReading(
                quality=Quality.CHECKSUM, reason="the witness's checksum is wrong: check wires and pull-up"
            )
        return ChannelReading(quality=Quality.MISSING, reason="the witness gives no data: check its plug")


def _good(temperature_c: float) -> ChannelReading:
    return ChannelReading(quality=Quality.GOOD, raw=round(temperature_c * COUNTS_PER_K), value=temperature_c)


class WitnessThread:
    """Converts in a thread of its own, since a conversion outlasts a pass.

    Parameters
    ----------
    witness : WitnessThermometer
        What to read.
    clock : Clock
        Stamps the conversions.
    interval_s : float
        From one conversion to the next. [s]
    """

    def __init__(self, *, witness: WitnessThermometer, clock: Clock, interval_s: float) -> None:
        self._witness = witness
        self._clock = clock
        self._interval_s = interval_s
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="witness", daemon=True)

    def start(self) -> None:
        """Begin converting."""
        self._thread.start()

    def close(self) -> None:
        """Stop after the conversion under way."""
        self._stop.set()
        self._thread.join()

    def _run(self) -> None:
        while True:
            self._witness.convert(self._clock.monotonic_s())
            if self._stop.wait(self._interval_s):
                return
