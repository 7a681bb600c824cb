"""Self-test of the analog switches and of the relays that bring the box into the circuit."""

import math
from statistics import fmean, pstdev

from calibration.contract.readings import Insertion, Quality
from rig.drivers.insertion import CHANNEL_OF
from rig.selftest_trial import Trial, range_name

SETTINGS_OHM = (500.0, 1000.0, 4000.0)
SAME = 0.02
SAME_OHM = 5.0
CHATTER = 0.01
SCATTERS = 5.0
SETTLED_PASSES = 4
NOISE_PASSES = 12
NOISE_COUNT = 0.8  # a sound converter's pass scatters by 0.1 to 0.2


def judge_excitation(trial: Trial) -> None:
    """Every range brings a voltage to its top tap."""
    if not trial.converter_works:
        trial.leave_out("excitation and ranges", "the converter does not work")
        return
    for name, channel in trial.wiring.channels.items():
        for each in channel.ranges:
            trial.set_range(name, each)
            reading = trial.passes(2)[-1].channels[name]
            works = reading.quality is not Quality.MISSING
            trial.judge(
                f"excitation, {range_name(name, each)}",
                works,
                f"{reading.reason}: GPIO {each.excitation_gpio}, its analog switch, its ballast",
            )
            if not works:
                trial.live[name].remove(each)


def judge_welded_places(trial: Trial) -> None:
    """With every place open, the box must make no difference to any channel."""
    if not _box_and_channels(trial):
        return
    for channel in trial.wiring.channels:
        if not trial.live[channel]:
            continue
        each = trial.main_range(channel)
        empty_ohm, full_ohm = (trial.lowest_ohm(channel, each, setting) for setting in (0.0, 3000.0))
        if _same(empty_ohm, full_ohm):
            continue
        place = _welded(channel, empty_ohm, full_ohm)
        trial.welded_place = place.value
        trial.bad(
            f"insertion relay, {place.value}",
            "the box is in the circuit though no relay is pulled in: a welded contact, or its driver shorted",
        )


def _welded(channel: str, empty_ohm: float, full_ohm: float) -> Insertion:
    if channel == "probe":
        return Insertion.PROBE
    if empty_ohm > SAME_OHM:
        return Insertion.SERIES
    return Insertion.SENDER if math.isclose(full_ohm, 3000.0, rel_tol=0.05) else Insertion.PARALLEL


def judge_places(trial: Trial) -> None:
    """Each place, closed, lets the box be seen; its contacts are quiet once they have settled."""
    if not _box_and_channels(trial):
        return
    for place, channel in CHANNEL_OF.items():
        if trial.welded_place == place.value or not trial.live[channel]:
            continue
        part = f"insertion relay, {place.value}"
        if place in (Insertion.SERIES, Insertion.PARALLEL) and _hides_box(trial, place):
            trial.leave_out(part, "the sender on the clips is open or shorted: fit a sound one")
            continue
        trial.bench.set_insertion(place)
        found = [trial.lowest_ohm(channel, trial.main_range(channel), setting) for setting in SETTINGS_OHM]
        trial.closes[place] = not all(_same(found[0], ohm) for ohm in found[1:])
        trial.bench.set_insertion(Insertion.NONE)
        if not trial.closes[place]:
            trial.bad(part, "the box is not seen there: its driver, its coil, its contacts")
        elif place is CHANNEL_PLACE.get(channel) and _chatters(trial, place, channel):
            trial.bad(part, "its contacts still chatter when they should have settled: replace it")
        else:
            trial.good(part)


CHANNEL_PLACE = {"sender": Insertion.SENDER, "probe": Insertion.PROBE}


def _hides_box(trial: Trial, place: Insertion) -> bool:
    """Tell whether the sender itself leaves nothing to be seen of the box."""
    trial.bench.set_insertion(Insertion.NONE)
    sender_ohm = trial.lowest_ohm("sender", trial.main_range("sender"), 0.0)
    if place is Insertion.SERIES:
        return not sender_ohm < 50_000.0
    return sender_ohm < 50.0


def _chatters(trial: Trial, place: Insertion, channel: str) -> bool:
    """Compare the first pass that counts with later ones."""
    trial.set_range(channel, trial.main_range(channel))
    trial.bench.set_decade(SETTINGS_OHM[1])
    trial.passes(8)
    trial.bench.set_insertion(place)
    readings = [sample.channels[channel] for sample in trial.passes(10)]
    trial.bench.set_insertion(Insertion.NONE)
    values = [reading.value for reading in readings if reading.value is not None]
    if len(values) < len(readings):
        return False  # another part's fault; said under its name
    early, late = values[0], values[SETTLED_PASSES:]
    return abs(early - fmean(late)) > CHATTER * fmean(late) + SCATTERS * pstdev(late)


def judge_noise(trial: Trial) -> None:
    """A resistor does not scatter: what does is the supply or the reference."""
    if not trial.can_measure:
        return
    trial.bench.set_insertion(Insertion.SENDER)
    trial.set_range("sender", trial.main_range("sender"))
    trial.bench.set_decade(2000.0)
    trial.passes(12)
    raws = [sample.channels["sender"].raw for sample in trial.passes(NOISE_PASSES)]
    scatter = pstdev(raw for raw in raws if raw is not None)
    trial.is_noisy = scatter > NOISE_COUNT
    trial.judge(
        "converter supply",
        not trial.is_noisy,
        f"readings of a resistor scatter by {scatter:.1f} codes: the 1.00 V amplifier and its capacitors, "
        "the supply, a phone or a relay wire near the taps",
    )


def _box_and_channels(trial: Trial) -> bool:
    return trial.converter_works and trial.box_answers and bool(trial.live["sender"])


def _same(first_ohm: float, second_ohm: float) -> bool:
    """Tell whether two readings are of one thing; two open ones are."""
    if math.isinf(first_ohm) or math.isinf(second_ohm):
        return first_ohm == second_ohm
    return abs(first_ohm - second_ohm) <= SAME_OHM + SAME * min(first_ohm, second_ohm)
