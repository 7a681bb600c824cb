import dataclasses
import re

import pytest

from host.classroom.exercise import ExerciseSettings, Way
from host.live import Live
from host.people.role import Role
from host.procedures.sender.sender_check_start import SenderCheckWish
from host.web.app import create_app
from host.web.station_now import all_thermometers_in_register, natural
from host.web.wall import Standing, summary_of, waited_words, wall_rows
from host.web.wall_facts import SERVES_S, WallFacts, WallMemory

pytestmark = pytest.mark.slow


def heard(desk, station, **said):
    bench = desk.add_bench(station)
    bench.say(**said)
    bench.read(40)
    return bench


def start(desk, station, *, operator="", item="Sender, tag 3"):
    return desk.runs.start_check(
        SenderCheckWish(
            station=station,
            item=item,
            curve="ntc-310-80c",
            set_points_c=(30.0, 60.0, 85.0),
            operator=operator,
            anew=True,
            set_up=(),
        )
    )


def rows_of(desk, facts=None):
    return wall_rows(desk, facts or WallMemory(desk.store).facts(), thermometers={}, zone=None)


def row_of(page, station):
    found = re.search(rf'<li class="(\w+)" data-station="{station}">(.*?)</li>', page, re.DOTALL)
    return found[1], " ".join(re.sub(r"<[^>]+>", " ", found[2].split("<svg")[0]).split())


def test_stations_stand_trouble_first_then_by_who_needs_hands_and_idle_ones_last(desk):
    heard(desk, "bench-10")
    heard(desk, "bench-2")
    heard(desk, "bench-3")
    asks = start(desk, "bench-3")
    reads = heard(desk, "bench-4")
    desk.lead_until_phase(start(desk, "bench-4"), "ohms_check", bench=reads)
    fails = heard(desk, "bench-5")
    fails.say(trouble=("no answer from the probe for 6 s: check the plug at J2",), connect=2)
    heard(desk, "bench-6").say(state="gone", connect=2)
    rows = rows_of(desk)
    assert [(row.station, row.standing) for row in rows] == [
        ("bench-6", Standing.SILENT),
        ("bench-5", Standing.TROUBLE),
        ("bench-3", Standing.HANDS),
        ("bench-4", Standing.RUNNING),
        ("bench-2", Standing.IDLE),
        ("bench-10", Standing.IDLE),
    ]
    assert rows[2].run == asks
    assert summary_of(rows) == "6 stations: 1 silent, 1 trouble, 1 needs hands, 1 running, 2 idle"


def test_a_row_says_who_is_there_where_the_run_stands_and_what_is_wrong(browser, desk):
    bench = heard(desk, "bench-1")
    start(desk, "bench-1", operator="Imke Dorran", item="Sender <7>")
    page = browser.get("/wall").text
    standing, words = row_of(page, "bench-1")
    assert standing == "hands"
    assert "Imke Dorran" in words and "needs hands fit the sender" in words
    assert "Step 1 of 6. Sender &lt;7&gt;" in words and "no check yet" in words
    assert page.count("<svg") == 1
    bench.say(trouble=("no answer from the probe for 6 s: check the plug at J2",), connect=2)
    standing, words = row_of(browser.get("/wall").text, "bench-1")
    assert standing == "trouble"
    assert "No answer from the probe for 6 s: check the plug at J2" in words


def test_trouble_of_the_whole_desk_is_said_once_and_puts_no_station_in_trouble(browser, desk):
    heard(desk, "bench-1")
    heard(desk, "bench-2")
    desk.live.trouble = "the broker is away"
    page = browser.get("/wall").text
    assert page.count("The broker is away") == 1
    assert row_of(page, "bench-1")[0] == "idle"


def test_the_last_verdict_stands_as_shape_and_word_and_leads_to_its_run(finished_desk):
    page = create_app(finished_desk).test_client().get("/wall").text
    words = row_of(page, "bench-1")[1]
    assert "◆ Last check: out of tolerance" in words  # 25 Ω were in series with that sender
    assert 'href="/runs/1"' in page


def test_a_check_that_was_stopped_has_no_verdict_to_show(browser, desk):
    heard(desk, "bench-1")
    desk.runs.stop_run(start(desk, "bench-1"), "The jug leaks.")
    assert "○ Last check: stopped" in row_of(browser.get("/wall").text, "bench-1")[1]


def test_a_bath_on_its_way_to_its_set_point_waits_and_needs_no_hands(desk):
    bench = heard(desk, "bench-1")
    desk.lead_until_phase(start(desk, "bench-1"), "plateaus", bench=bench)
    bench.heater_c = None
    bench.read(400)
    desk.lead()
    (row,) = rows_of(desk)
    assert (row.standing, row.step) == (Standing.HANDS, "set heater to 30 °C")
    bench.heater_c, bench.heats_by_k = 60.0, 0.01
    bench.read(200)
    desk.lead()
    (row,) = rows_of(desk)
    assert (row.standing, row.step) == (Standing.WAITING, "heating to 30 °C")


def test_a_check_that_the_desk_does_not_lead_shows_as_work_at_its_station(desk, bench):
    desk.store.runs.create(
        station="bench-1", kind="infrared_check", settings={"item": "IR 3", "operator": "Odo Brack"}
    )
    (row,) = rows_of(desk)
    assert (row.standing, row.step, row.who) == (Standing.RUNNING, "infrared check", "Odo Brack")


def test_how_long_a_step_has_waited_is_told_in_minutes_by_the_desk_s_clock(small_desk, tmp_path):
    clock = [1_700_000_000.0]
    desk = small_desk(tmp_path, now=lambda: clock[0])
    bench = desk.add_bench()
    bench.say()
    bench.read(4)
    start(desk, "bench-1")
    memory = WallMemory(desk.store)
    assert [row.waited for row in rows_of(desk, memory.facts())] == [""]
    clock[0] += 7 * 60.0 + 20.0
    assert [row.waited for row in rows_of(desk, memory.facts())] == ["for 7 min"]
    desk.close()


@pytest.mark.parametrize(
    ("since_s", "words"), [(0.0, ""), (59.9, ""), (60.0, "for 1 min"), (3600.0, "for 1 h 00 min")]
)
def test_nobody_reads_seconds_from_the_back_row(since_s, words):
    assert waited_words(since_s) == words


def test_names_are_ordered_as_people_count():
    assert sorted(["station-10", "b-1", "station-9", "station"], key=natural) == [
        "b-1",
        "station",
        "station-9",
        "station-10",
    ]


class CountingStore:
    """A store that counts how often it is asked for its runs."""

    def __init__(self, store):
        self._store, self.asked = store, 0

    @property
    def runs(self):
        self.asked += 1
        return self._store.runs

    def __getattr__(self, name):
        return getattr(self._store, name)


def test_many_who_look_at_the_wall_ask_the_store_as_often_as_one(desk, bench):
    store, wall_s = CountingStore(desk.store), [0.0]
    memory = WallMemory(store, wall_s=lambda: wall_s[0])
    first = memory.facts()
    asked = store.asked
    assert all(memory.facts() is first for _ in range(30))
    assert store.asked == asked
    wall_s[0] += SERVES_S
    assert memory.facts() is not first
    assert store.asked == 2 * asked


def test_the_rows_are_made_without_asking_the_store(desk, bench, monkeypatch):
    start(desk, "bench-1")
    facts = WallMemory(desk.store).facts()
    monkeypatch.setattr(desk.store, "runs", None)
    monkeypatch.setattr(desk.store, "certificates", None)
    monkeypatch.setattr(desk.store, "register", None)
    assert [row.standing for row in rows_of(desk, facts)] == [Standing.HANDS]


def test_the_stream_begins_with_every_row_and_goes_on_with_those_that_changed(
    browser, desk, bench, events_of, monkeypatch
):
    monkeypatch.setattr("host.web.wall_stream.WALL_EVERY_S", 0.05)
    heard(desk, "bench-2")
    answer = browser.get("/wall/live", buffered=False)
    assert answer.mimetype == "text/event-stream"
    pieces = answer.iter_encoded()
    (first,) = events_of(next(pieces).decode() + next(pieces).decode())
    assert set(first["wall"]["rows"]) == set(first["wall"]["order"]) == {"bench-1", "bench-2"}
    bench.say(trouble=("no answer from the witness",), connect=2)
    (second,) = events_of(next(pieces).decode())
    answer.close()
    assert set(second["wall"]["rows"]) == {"bench-1"}
    assert second["wall"]["rows"]["bench-1"]["standing"] == "trouble"
    assert second["wall"]["order"] == ["bench-1", "bench-2"]
    assert second["wall"]["summary"] == "2 stations: 1 trouble, 1 idle"


def test_a_desk_without_stations_has_a_wall_that_says_so(browser, desk):
    page = browser.get("/wall").text
    assert "No station" in page and 'href="/begin"' in page


def test_a_station_whose_readings_stand_still_is_not_taken_for_one_at_work(desk, bench):
    silent = Live(wall_s=lambda: 0.0)
    silent.add_station("bench-1")
    desk.live = silent
    (row,) = rows_of(desk, WallFacts())
    assert row.standing is Standing.SILENT


class Class:
    """A desk whose bench reads the same whatever is planted, with one student at its exercise."""

    def __init__(self, desk, fault, way):
        self.desk = desk
        self.bench = heard(desk, "bench-1")
        self.bench.feels_the_box, self.bench.series_ohm = False, 25.0
        student = desk.store.people.add("Bo Quill", frozenset({Role.STUDENT}))
        made = ExerciseSettings(
            title="The blue estate", question="What is wrong?", curve="ntc-310-80c",
            fault=fault, size=22.0, way=way,
        )  # fmt: skip
        exercise = desk.exercises.make(made)
        desk.exercises.assign(exercise, student)
        assert desk.exercises.plant(exercise, "bench-1") == ""
        self.bench.read(20)
        self.run = desk.exercises.begin(exercise, student.number, "bench-1")

    def lead_to(self, is_there):
        def led():
            view = self.desk.runs.view(self.run)
            if is_there(view):
                return True
            self.desk.hands.watch((view,))
            return False

        self.desk.lead_until(led, bench=self.bench)

    def row(self):
        """What the wall shows, but for how long it has; just heard, however long the other room took."""
        self.bench.say(connect=2)
        (row,) = wall_rows(
            self.desk,
            WallMemory(self.desk.store).facts(),
            thermometers=all_thermometers_in_register(self.desk),
            zone=None,
        )
        return dataclasses.replace(row, since_s=None)


def told(row):
    """All that a row shows."""
    fields = (row.standing, row.step, row.of_steps, row.who, row.item, row.trouble, row.last)
    return (*fields, row.now.values.witnesses, row.now.live.words)


def test_the_wall_tells_nobody_in_the_room_what_was_planted(small_desk, tmp_path):
    by_relay = Class(small_desk(tmp_path / "relay"), "series", Way.BY_BOX)
    by_name = Class(small_desk(tmp_path / "name"), "series", Way.BY_NAME)
    pair = (by_relay, by_name)
    for stage in (
        lambda view: len(view.state.box_read) >= 3,
        lambda view: view.state.opened_at is not None and view.state.windows,
        lambda view: view.state.is_over,
    ):
        for one in pair:
            one.lead_to(stage)
        shown = [one.row() for one in pair]
        assert told(shown[0]) == told(shown[1])
    assert shown[0].last.word == "exercise over" and shown[0].last.verdict is None
    for one in pair:
        one.desk.close()


def test_the_wall_strikes_a_verdict_whose_certificate_was_withdrawn_a_moment_later(finished_desk, browser_of):
    clock = [0.0]
    memory = WallMemory(finished_desk.store, wall_s=lambda: clock[0])
    bench = finished_desk.benches["bench-1"]
    bench.say()
    bench.read(40)
    assert rows_of(finished_desk, memory.facts())[0].last.word == "out of tolerance"
    finished_desk.store.certificates.withdraw("000001", "the wrong sender was in the bath", by="Ida")
    clock[0] += SERVES_S
    last = rows_of(finished_desk, memory.facts())[0].last
    assert last.is_withdrawn and last.word == "certificate withdrawn"
    page = browser_of(finished_desk).get("/wall").text
    assert "<s>out of tolerance</s>" in page and 'class="verdict out_of_tolerance"' not in page
    probe = next(one for one in finished_desk.store.register.standings() if one.serial == "P-1")
    used = browser_of(finished_desk).get(f"/register/{probe.number}").text
    assert '<s>certificate 000001</s> <b class="standing">withdrawn</b>' in used
