import json
import math
from dataclasses import replace

import pytest

from calibration.contract.readings import ChannelReading, Insertion, Quality, ReadingPack
from calibration.curves.curve_file import curve_from_toml
from calibration.diagnosis import DeadCircuit
from host.classroom.exercise import (
    Answer,
    Credits,
    ExerciseSettings,
    ExerciseState,
    Kind,
    TypedPoint,
    Way,
    advance,
    state_of,
)
from host.classroom.nameable import FAULTS, UNITS, checked_size, plantable, size_in
from host.classroom.on_paper import judged, readings_of_a_fault, typed_readings, why
from host.classroom.planted_box import READINGS_TO_BE_READY, PlantedBox, Sight
from host.curve_choice import load_curve
from host.errors import DeskError
from host.procedures.event import Event
from rig.sim.plants import PLANTS, check_plant, effects_of
from rig.sim.thermistor_law import load_laws

MADE = ExerciseSettings(
    title="The blue estate",
    question="What is wrong?",
    curve="ntc-310-80c",
    fault="series",
    size=22.0,
    way=Way.BY_BOX,
    credits=Credits(naming=50, size=30, reasoning=20),
    readings=(TypedPoint(temperature_c=30.0, resistance_ohm=1700.0),),
)
BOX = PlantedBox(insertion=Insertion.SERIES, decade_ohm=22.0)


def log(*events):
    made = Event(kind=Kind.MADE, payload={"settings": MADE.as_json()})
    return [made, *(Event(kind=kind, payload=payload) for kind, payload in events)]


GIVEN = (Kind.ASSIGNED, {"account": 4, "name": "Bo Quill"})
BEGUN = (Kind.BEGUN, {"account": 4, "station": "bench-1", "run": 7})
ANSWER = {"fault": "series", "size": 20.0, "unit": "Ω", "sentence": "It reads low when hot."}
ANSWERED = (Kind.ANSWERED, {"account": 4, "answer": ANSWER})


def test_settings_come_back_from_the_log_as_they_were():
    assert state_of(log()).made == MADE


def test_a_log_leads_from_making_to_marks():
    marked = (Kind.MARKED, {"account": 4, "share": 0.5, "words": "", "by": "Ida Marsh"})
    planted = (Kind.PLANTED, {"station": "bench-1"})
    failed = (Kind.NOT_PLANTED, {"station": "bench-2", "reason": "no answer"})
    state = state_of(log(GIVEN, planted, failed, BEGUN, ANSWERED, marked, (Kind.CLOSED, {})))
    attempt = state.attempts[4]
    assert (attempt.run, attempt.answer, attempt.mark.share) == (7, Answer(**ANSWER), 0.5)
    assert state.open_stations == ("bench-1",) and state.planted_at["bench-2"] == "no answer"
    assert state.is_closed


@pytest.mark.parametrize(
    "events",
    [
        (GIVEN, GIVEN),
        (GIVEN, BEGUN, ANSWERED, ANSWERED),
        (GIVEN, BEGUN, ANSWERED, BEGUN),
        (GIVEN, (Kind.MARKED, {"account": 4, "share": 1.0, "words": "", "by": ""})),
        (GIVEN, (Kind.CLOSED, {}), BEGUN),
    ],
)
def test_what_cannot_follow_is_a_fault_of_the_program(events):
    with pytest.raises(ValueError):
        state_of(log(*events))


def test_nothing_comes_before_an_exercise_is_made():
    with pytest.raises(ValueError):
        advance(ExerciseState(), Event(kind=Kind.CLOSED))


def test_every_fault_planted_by_name_is_one_that_simulated_silicon_knows_at_both_ends_of_its_size():
    """The rig and the desk share no code, so the two lists are held together here."""
    for fault in plantable():
        if not fault.plant:
            continue
        assert PLANTS[fault.plant].place.value == "sender"
        ends = (fault.lowest, fault.highest) if fault.wants_size else (1.0,)
        for size in ends:
            check_plant((fault.plant, size))
        unit = fault.unit or fault.plant_unit
        if unit:
            known = PLANTS[fault.plant].unit
            assert unit.replace("Ω", "ohm") == known


def test_a_fault_that_asks_for_a_size_asks_in_a_unit_of_the_form():
    assert {fault.unit for fault in FAULTS.values()} <= {*UNITS, ""}
    assert size_in("kΩ", 24_000.0, "Ω") == 24.0 and size_in("Ω", 24.0, "%") is None


@pytest.mark.parametrize(
    ("fault", "size", "box"),
    [("series", 0.0, None), ("series", None, None), ("series", 20_000.0, None), ("beta", 31.0, None),
     ("series", 22.5, 16_665.0), ("leakage", 20.0, 16_665.0)],
)  # fmt: skip
def test_a_size_that_cannot_be_planted_is_refused(fault, size, box):
    with pytest.raises(DeskError):
        checked_size(FAULTS[fault], size, box_highest_ohm=box)


def test_the_way_of_planting_says_what_is_ordered():
    assert MADE.box == BOX and MADE.plant is None
    across = ExerciseSettings(title="T", question="Q", curve="c", fault="leakage", size=12.0, way=Way.BY_BOX)
    assert across.box == PlantedBox(insertion=Insertion.PARALLEL, decade_ohm=12_000.0)
    by_name = ExerciseSettings(title="T", question="Q", curve="c", fault="leakage", size=12.0)
    assert (by_name.box, by_name.plant) == (None, "leakage:12")


def pack(insertion, decade_ohm, seq=1000):
    return ReadingPack(
        station="bench-1", rig="r", boot="00000001-0000abcd", seq=seq, rig_time_s=1.0, simulated=True,
        decade_ohm=decade_ohm, insertion=insertion, range_ohm=750.0,
        channels={
            "sender": ChannelReading(quality=Quality.GOOD, raw=1.0, value=300.0),
            "probe": ChannelReading(quality=Quality.GOOD, raw=1.0, value=1000.0),
        },
    )  # fmt: skip


HEATED = ("00000001-0000abcd", 500)


def sender_seen(sight, read):
    seen = sight.of(read)
    assert (seen.insertion, seen.decade_ohm) == (Insertion.NONE, 0.0)
    assert seen.channels["probe"].value == 1000.0
    return seen.channels["sender"].value


def test_with_the_box_where_it_was_planted_the_sender_is_what_it_is_with_it():
    sight = Sight(box=BOX, heated_from=HEATED)
    assert sender_seen(sight, pack(Insertion.SERIES, 22.0)) == 300.0


@pytest.mark.parametrize("read", [pack(Insertion.NONE, 0.0), pack(Insertion.SERIES, 10.0),
                                  pack(Insertion.PARALLEL, 22.0)])  # fmt: skip
def test_a_bench_that_does_not_stand_as_planted_shows_no_sender(read):
    assert sender_seen(Sight(box=BOX, heated_from=HEATED), read) is None


def test_nobody_sees_by_the_time_it_takes_whether_relays_moved():
    for box, read in ((BOX, (Insertion.SERIES, 22.0)), (None, (Insertion.NONE, 0.0))):
        before = pack(*read, seq=HEATED[1] + READINGS_TO_BE_READY)
        after = pack(*read, seq=HEATED[1] + READINGS_TO_BE_READY + 1)
        sight = Sight(box=box, heated_from=HEATED)
        assert sender_seen(sight, before) is None and sender_seen(sight, after) == 300.0
        assert sender_seen(Sight(box=box, heated_from=None), after) is None


def test_the_ohms_check_reads_the_box_as_it_stands():
    read = pack(Insertion.SENDER, 150.0)
    assert Sight(box=BOX, heated_from=None).of(read) == read


@pytest.mark.slow
@pytest.mark.parametrize(("fault", "size"), [
    ("series", 208.0), ("leakage", 6.0), ("healthy", 1.0), ("open", 1.0), ("short", 1.0),
    ("intermittent", 30.0), ("another_curve", 10.0), ("beta", 14.0),
])  # fmt: skip
def test_a_table_on_paper_is_one_from_which_the_desk_names_the_fault(fault, size):
    """At sizes that the benchmark of attributions names by hand in over 99 of 100 senders."""
    curve = load_curve("ntc-2k5-20c")
    readings = readings_of_a_fault(curve, fault, size, (20.0, 40.0, 60.0, 80.0, 95.0))
    words = " ".join(why(readings, curve, 2.0))
    named = {
        "series": "resistance in series", "leakage": "parallel leakage", "healthy": "as those of good",
        "open": "an open circuit", "short": "a short circuit", "intermittent": "an intermittent contact",
        "another_curve": "the wrong sender", "beta": "an aged element",
    }  # fmt: skip
    assert named[fault] in words, words
    assert len(judged(readings, curve, 2.0)) == 5


def test_ohms_on_paper_are_those_of_the_circuit():
    """Series adds, a parallel path divides, a share multiplies: by hand at 80 °C, 310 Ω."""
    curve = load_curve("ntc-310-80c")
    ohm = curve.resistance_ohm(80.0)
    found = {
        fault: readings_of_a_fault(curve, fault, size, (80.0,))[0].resistance_ohm
        for fault, size in (("series", 22.0), ("leakage", 1.0), ("r25", 10.0))
    }
    assert found["series"] == pytest.approx(ohm + 22.0, rel=5e-4)
    assert found["leakage"] == pytest.approx(1.0 / (1.0 / ohm + 1e-3), rel=5e-4)
    assert found["r25"] == pytest.approx(1.1 * ohm, rel=5e-4)


def test_a_typed_table_is_refused_by_its_row():
    assert typed_readings("30 1700\n60; 600")[1] == TypedPoint(temperature_c=60.0, resistance_ohm=600.0)
    with pytest.raises(DeskError, match="Row 2"):
        typed_readings("30 1700\n60")
    for wrong in ("30 1700\n60 some", "30 1700\n60 604 590", "30 1700\n60 OL 0", "30 1700\n60 604 OL 0"):
        with pytest.raises(DeskError, match="^Row 2: "):
            typed_readings(wrong)


def test_a_typed_table_takes_what_a_meter_shows_of_a_dead_or_a_loose_circuit():
    assert typed_readings("30 OL\n60, 604 OL\n80 0") == (
        TypedPoint(temperature_c=30.0, circuit=DeadCircuit.OPEN),
        TypedPoint(temperature_c=60.0, resistance_ohm=604.0, circuit=DeadCircuit.OPEN),
        TypedPoint(temperature_c=80.0, circuit=DeadCircuit.SHORT),
    )


def test_readings_come_back_from_the_log_with_what_the_meter_showed():
    made = replace(MADE, readings=typed_readings("30 OL\n60 604 OL\n80 310"))
    kept = json.loads(json.dumps(made.as_json(), allow_nan=False))
    assert ExerciseSettings.from_json(kept) == made
    for point in kept["readings"]:  # as an exercise of before was kept
        del point["circuit"]
    assert ExerciseSettings.from_json(kept).readings[2].circuit is None


AT_C = (0.0, 20.0, 40.0, 60.0, 80.0, 100.0)
LAW = load_laws()[0].law


def curve_of(law):
    """A reference curve printed every 5 K as a law of the simulation runs."""
    rows = ", ".join(
        f"{{temperature_c = {t}, resistance_ohm = {law.resistance_ohm(t)!r}}}" for t in range(0, 101, 5)
    )
    head = "title = 'An NTC'\nsource = 'none'\ntolerance = 'unknown'\nwiring = 'unknown'\n"
    return curve_from_toml(f"{head}allowed_current_ma = 'unknown'\nrows = [{rows}]", name="ntc-of-the-rig")


@pytest.mark.parametrize(
    ("fault", "size"),
    [("healthy", 1.0), ("series", 22.0), ("series", 1500.0), ("leakage", 3.0), ("leakage", 0.1),
     ("r25", -20.0), ("r25", 40.0), ("beta", -13.0), ("beta", 6.0), ("another_curve", 10.0),
     ("open", 1.0), ("short", 1.0)],
)  # fmt: skip
def test_a_table_on_paper_is_what_the_simulated_sender_with_that_plant_has_at_its_terminals(fault, size):
    """Two circuits that share no code: the one the desk diagnoses by, and the one below the rig's drivers."""
    plant = FAULTS[fault].plant
    effects = effects_of(None if not plant else (plant, size))
    element = effects.shifted(LAW)
    for read in readings_of_a_fault(curve_of(LAW), fault, size, AT_C):
        ohm = effects.terminal_ohm(element.resistance_ohm(read.temperature_c))
        if math.isinf(ohm) or ohm < 0.1:
            assert read.shown == ("OL" if math.isinf(ohm) else "0",)
        else:
            assert read.resistance_ohm == pytest.approx(ohm, rel=1e-3) and read.circuit is None


def test_a_loose_contact_on_paper_comes_and_goes_and_one_that_is_always_open_is_open():
    curve = load_curve("ntc-2k5-20c")
    steady = readings_of_a_fault(curve, "healthy", 1.0, (20.0, 60.0))
    loose = readings_of_a_fault(curve, "intermittent", 30.0, (20.0, 60.0))
    assert [read.shown for read in loose] == [(*read.shown, "OL") for read in steady]
    gone = readings_of_a_fault(curve, "intermittent", 100.0, (20.0, 60.0))
    assert [read.shown for read in gone] == [("OL",), ("OL",)]


def test_a_thermometer_too_high_on_paper_is_a_sender_that_much_colder():
    curve = load_curve("ntc-2k5-20c")
    (read,) = readings_of_a_fault(curve, "stem_or_thermometer", 3.0, (60.0,))
    assert read.resistance_ohm == pytest.approx(curve.resistance_ohm(57.0), rel=3e-3)
