"""Self-test of what needs no known resistance: converter, probe, infrared sensor, witness, button."""

from calibration.contract.readings import Quality
from rig.errors import ReadingUnusable
from rig.selftest_trial import Trial

PASSES_TO_FREEZE = 9
EMISSIVITY_TOLERANCE = 0.002
ROOM_SPAN_C = (-10.0, 60.0)
WITNESS_PATIENCE_PASSES = 40


def judge_converter(trial: Trial) -> None:
    """A converter that is not there, or stands still, is so on every channel at once."""
    last = trial.passes(PASSES_TO_FREEZE)[-1]
    qualities = {last.channels[name].quality for name in trial.wiring.channels}
    trial.converter_works = not qualities <= {Quality.MISSING, Quality.FROZEN}
    reason = last.channels["sender"].reason
    trial.judge(
        "converter",
        trial.converter_works,
        f"{reason}. Then its supply, its reference and the four SPI wires",
    )


def judge_probe(trial: Trial) -> None:
    """The rig's own probe hangs on its clips."""
    if not trial.converter_works or not trial.live["probe"]:
        trial.leave_out("probe", "its channel does not work")
        return
    if trial.welded_place == "probe":
        trial.leave_out("probe", "the decade box stands in its place")
        return
    trial.bench.set_probe_range(None)
    reading = trial.passes(3)[-1].channels["probe"]
    good = reading.quality in (Quality.GOOD, Quality.RANGE)
    trial.judge("probe", good, f"{reading.reason}. Then the probe's plug and lead")


def judge_infrared(trial: Trial) -> None:
    """The sensor answers, its codes fit, its cell holds what the wiring file says, and its noise is alive."""
    channels = trial.passes(2)[-1].channels
    cell = _emissivity(trial)
    wanted = trial.wiring.infrared.emissivity
    if cell is not None and abs(cell - wanted) > EMISSIVITY_TOLERANCE:
        trial.bad(
            "infrared sensor's emissivity cell",
            f"it holds {cell:.3f}, hardware/wiring.toml says {wanted:.3f}: write the one or the other anew, "
            "then switch the sensor off and on",
        )
        trial.leave_out("infrared sensor", "its emissivity cell is not what it should be")
        return
    if cell is not None:
        trial.good("infrared sensor's emissivity cell")
    bad = [channels[name] for name in ("ambient", "infrared") if channels[name].quality is not Quality.GOOD]
    if bad:
        trial.bad("infrared sensor", f"{bad[0].reason}")
        return
    low_c, high_c = ROOM_SPAN_C
    ambient_c = channels["ambient"].value or 0.0
    trial.judge(
        "infrared sensor",
        low_c <= ambient_c <= high_c,
        f"its own body says {ambient_c:.1f} °C: is it in a room, and is it the 3 V version?",
    )


def _emissivity(trial: Trial) -> float | None:
    try:
        return trial.bench.read_emissivity()
    except (ReadingUnusable, OSError):
        return None  # the sensor's own readings say why


def judge_witness(trial: Trial) -> None:
    """The 1-wire sensor converts, its checksum fits, and it is not stuck at what it wakes with."""
    for _ in range(WITNESS_PATIENCE_PASSES):
        reading = trial.passes(1)[-1].channels["witness"]
        if reading.quality is not Quality.MISSING:
            break
    trial.judge("witness", reading.quality is Quality.GOOD, f"{reading.reason}")


def judge_button(trial: Trial) -> None:
    """Nobody presses it during the test."""
    trial.judge(
        "button", not trial.bench.button_is_pressed, "it is down: free it, then look for a short to ground"
    )
