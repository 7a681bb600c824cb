"""What one reading says of bath and sender, or why it may not be used."""

from dataclasses import dataclass

from calibration.bench_stand import BenchPointError, BenchSetup
from calibration.contract.readings import Insertion, Quality, ReadingPack
from host.procedures.bench_setup import DUTY, raw_count
from host.procedures.sender.sender_check_state import SenderCheckState
from host.procedures.sender.trials import FULL_DUTY

#: Rig time for which a channel may be unreadable before the run stops. [s]
UNREADABLE_S = 240.0

UNREADABLE_WORDS = (
    "For {minutes:g} minutes no reading could be used ({trouble}). Look at clips and leads; if they are "
    "sound, the fault is in the sender itself. Then start the check again."
)


class UnusableReadingError(ValueError):
    """A reading that may not be used; the message says why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BathReading:
    """One usable reading.

    Attributes
    ----------
    pack : ReadingPack
    probe_c : float
        Bath, by the probe's certificate. [°C]
    sender_ohm : float
        Sender, corrected by the ohms check. [Ω]
    """

    pack: ReadingPack
    probe_c: float
    sender_ohm: float


def bath_reading_of(state: SenderCheckState, pack: ReadingPack, setup: BenchSetup) -> BathReading:
    """What a reading says.

    Raises
    ------
    UnusableReadingError
        If it may not be used.
    """
    for name in ("probe", "sender"):
        channel = pack.channels.get(name)
        if channel is None or channel.quality is not Quality.GOOD:
            raise UnusableReadingError(f"{name}: {channel.reason if channel else 'no reading'}")
    if not has_wanted_duty(state, pack):
        raise UnusableReadingError("the sender’s current is not on for the share of the time that is wanted")
    if pack.insertion is not Insertion.NONE:
        raise UnusableReadingError("the decade box still stands in the circuit")
    try:
        probe_ohm = setup.probe_correction.corrected_ohm(raw_count(pack, "probe"))
        sender_ohm = setup.sender_correction(pack.range_ohm).corrected_ohm(raw_count(pack, "sender"))
    except (BenchPointError, ValueError) as error:
        raise UnusableReadingError(f"sender: {error}") from error
    return BathReading(pack=pack, probe_c=setup.probe.temperature_c(probe_ohm), sender_ohm=sender_ohm)


def has_wanted_duty(state: SenderCheckState, pack: ReadingPack) -> bool:
    """Tell whether the sender carries current as is wanted, by what the pack says; an old rig is silent."""
    if pack.sender_duty is None:
        return True
    if state.wants_full_current:
        return pack.sender_duty == FULL_DUTY
    return pack.sender_duty <= DUTY + 1e-9
