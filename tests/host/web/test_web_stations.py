import json
import re
from importlib.metadata import version

import pytest

from calibration.contract.readings import Insertion, Quality
from host.live import Live
from host.store.register_file import register_entry
from host.store.settings import Settings
from host.web.app import create_app
from host.web.scale import Scale
from host.web.start_form import empty_form

pytestmark = pytest.mark.slow


def test_the_list_says_live_values_and_that_the_bench_is_simulated(browser, bench):
    page = browser.get("/").text
    assert "bench-1" in page
    assert "Simulated bench" in page
    assert "Live." in page
    for name in ("Sender", "Probe", "Witness", "Infrared"):
        assert f"<dt>{name}</dt>" in page
    assert "Start a sender check" in page


def test_a_real_bench_is_not_called_simulated(browser, desk):
    bench = desk.add_bench("bench-7", simulated=False)
    bench.say()
    bench.read(4)
    assert "Simulated" not in browser.get("/").text
    assert "Simulated" not in browser.get("/stations/bench-7").text


def test_a_station_in_trouble_stands_before_one_that_is_well(browser, desk, bench):
    late = desk.add_bench("bench-9")
    late.say(trouble=("no answer from the probe for 6 s: check the plug at J2",))
    late.read(4)
    page = browser.get("/").text
    assert page.index("bench-9") < page.index("bench-1")
    assert "check the plug at J2" in page


def test_a_station_that_went_silent_shows_its_last_values_as_old(browser, desk, bench):
    bench.say(state="gone", connect=2)
    page = browser.get("/stations/bench-1").text
    assert "Gone: its rig is off or out of reach." in page
    assert "they are not of now" in page


def test_a_rig_that_catches_up_says_how_much_it_has_to_go(browser, bench):
    bench.say(holds={bench.boot: (1, 12_340)}, connect=2)
    assert "catching up, 12,340 to go" in browser.get("/").text


def test_the_probe_is_shown_as_the_temperature_its_certificate_gives(browser, desk):
    # The bath of the small bench is at 22 °C, and its probe follows the register's coefficients.
    bench = desk.add_bench()
    bench.say()
    bench.read(1)
    page = browser.get("/stations/bench-1").text
    probe = page[page.index("<dt>Probe</dt>") :]
    assert "<b>22.0" in probe[: probe.index("</div>")]
    assert "71.6" in probe[: probe.index("</div>")]


@pytest.mark.parametrize(
    ("quality", "reason"), [(Quality.OPEN, "no sender on the leads"), (Quality.MISSING, "no answer at 0x5A")]
)
def test_a_reading_that_may_not_be_used_shows_its_reason_and_no_number(browser, bench, quality, reason):
    bench.quality = {"sender": (quality, reason), "infrared": (quality, reason)}
    bench.read(1)
    page = browser.get("/stations/bench-1").text
    sender = page[page.index("<dt>Sender</dt>") : page.index("<dt>Probe</dt>")]
    assert reason in sender
    assert "Ω" not in sender


def test_the_decade_box_in_place_of_the_sender_is_not_taken_for_the_sender(browser, bench):
    bench._insertion, bench._decade_ohm = Insertion.SENDER, 2200.0
    bench.read(1)
    page = browser.get("/stations/bench-1").text.replace("\u00a0", " ")
    assert "decade box in its place, set to 2,200 Ω" in page
    assert "sender shows" not in page


def test_without_a_probe_in_the_register_no_temperature_is_claimed(browser, desk):
    desk.store.stations.add("bench-1")
    bench = desk._join("bench-1")
    bench.say()
    bench.read(1)
    page = browser.get("/stations/bench-1").text
    assert "no probe in the register" in page
    assert "contact probe" not in page


def test_each_station_is_read_with_its_own_probe(browser, desk, bench):
    other = desk.add_bench("bench-2")
    other.say()
    other.read(1)
    common = dict(desk.store.register.current("probe").content)
    desk.store.register.add(
        register_entry(common | {"serial": "P-2", "station": "bench-2", "a": common["a"] + 2e-5})
    )
    # 1/T grows by 2e-5, so T = 295.15 K falls by 2e-5 T squared: 1.74 K.
    assert probe_shown(browser, "bench-1") == pytest.approx(22.0, abs=0.1)
    assert probe_shown(browser, "bench-2") == pytest.approx(22.0 - 1.74, abs=0.1)


def probe_shown(browser, station):
    page = browser.get(f"/stations/{station}").text
    return float(re.search(r"<dt>Probe</dt>.*?<b>([0-9.]+)", page, re.DOTALL)[1])


def test_fahrenheit_is_kept_from_page_to_page(browser, bench):
    first = browser.get("/stations/bench-1?scale=f")
    assert "SameSite=Lax" in first.headers["Set-Cookie"]
    strip = browser.get("/stations/bench-1").text
    probe = strip[strip.index("<dt>Probe</dt>") :]
    assert "<b>71." in probe[: probe.index("</div>")]
    browser.get("/?scale=c")
    again = browser.get("/stations/bench-1").text
    probe = again[again.index("<dt>Probe</dt>") :]
    assert "<b>22." in probe[: probe.index("</div>")] or "<b>21.9" in probe[: probe.index("</div>")]


def test_an_unknown_station_is_said_in_words(browser):
    page = browser.get("/stations/bench-5")
    assert page.status_code == 404
    assert "There is no station" in page.text
    assert "To the stations" in page.text


def test_a_stream_gives_values_strip_and_a_history_thinned_to_a_second(browser, bench, events_of):
    bench.read(400)
    answer = browser.get("/stations/bench-1/live", buffered=False)
    assert answer.mimetype == "text/event-stream"
    pieces = answer.iter_encoded()
    text = next(pieces).decode() + next(pieces).decode()
    answer.close()
    (data,) = events_of(text)
    assert data["anew"] is True
    assert "contact probe" in data["live"]
    times = [point[0] for point in data["points"]]
    assert times[0] < 2.0 and times[-1] > 108.0
    assert min(later - earlier for earlier, later in zip(times, times[1:], strict=False)) >= 0.99
    assert all(point[1] == pytest.approx(22.0, abs=0.1) for point in data["points"])


def test_a_stream_that_is_taken_up_again_sends_only_what_is_new(browser, bench, events_of):
    first = browser.get("/stations/bench-1/live", buffered=False)
    pieces = first.iter_encoded()
    text = next(pieces).decode() + next(pieces).decode()
    first.close()
    last_id = next(line for line in text.splitlines() if line.startswith("id: ")).removeprefix("id: ")
    bench.read(8)
    second = browser.get("/stations/bench-1/live", headers={"Last-Event-ID": last_id}, buffered=False)
    pieces = second.iter_encoded()
    text = next(pieces).decode() + next(pieces).decode()
    second.close()
    (data,) = events_of(text)
    assert data["anew"] is False
    assert [point[0] for point in data["points"]] == [10.2, 11.2]


def test_a_cursor_of_an_earlier_desk_begins_the_chart_anew(browser, bench, events_of):
    answer = browser.get("/stations/bench-1/live?after=00000000-999999", buffered=False)
    pieces = answer.iter_encoded()
    text = next(pieces).decode() + next(pieces).decode()
    answer.close()
    (data,) = events_of(text)
    assert data["anew"] is True
    assert len(data["points"]) == 10


def test_there_is_an_end_to_the_streams_a_desk_holds_and_a_closed_one_makes_room(desk, bench):
    from host.web.live_stream import Streams, put_streams

    app = create_app(desk)
    put_streams(app, Streams(1))
    browser = app.test_client()
    held = browser.get("/stations/bench-1/live", buffered=False)
    next(held.iter_encoded())
    refused = browser.get("/live")
    assert refused.status_code == 503
    assert refused.headers["Retry-After"] == "5"
    held.close()
    again = browser.get("/live", buffered=False)
    assert again.status_code == 200
    again.close()


def test_the_list_has_one_stream_for_all_of_its_rows(browser, desk, bench, events_of):
    desk.add_bench("bench-2")
    answer = browser.get("/live", buffered=False)
    pieces = answer.iter_encoded()
    text = next(pieces).decode() + next(pieces).decode()
    answer.close()
    (data,) = events_of(text)
    assert sorted(data["rows"]) == ["bench-1", "bench-2"]
    assert "contact probe" in data["rows"]["bench-1"]["html"]
    assert json.dumps(data["rows"]["bench-2"]["run"]) == "null"


@pytest.mark.parametrize(
    ("rig", "words"),
    [
        ("0.0.9", "older than this desk&#39;s"),
        ("99.1", "newer than this desk&#39;s"),
        (version("ohmbath"), None),
    ],
)
def test_a_rig_of_another_version_is_said_on_its_page(browser, bench, rig, words):
    bench.say(version=rig)
    page = browser.get("/stations/bench-1").text
    assert words in page if words else "Its rig runs version" not in page


def values_of(page):
    """Words beside the values of a station's page."""
    live = page[page.index("<div data-live>") : page.index('<figure class="chart">')]
    return live.replace("&#39;", "'")


def test_a_reading_of_a_clock_that_is_set_says_when_it_was_taken(browser, desk, bench):
    desk.store.settings.change({"time_zone": "UTC"})
    bench.utc_s = 1.8e9  # 2027-01-15 08:00:00 UTC
    bench.read(1)
    words = values_of(browser.get("/stations/bench-1").text)
    assert "Read at 2027-01-15 08:00:00 UTC." in words
    assert "inferred" not in words
    assert "clock was set" not in words


def test_a_reading_is_said_in_the_time_of_the_shop(browser, desk, bench):
    desk.store.settings.change({"time_zone": "Asia/Kathmandu"})  # +5:45 all year
    bench.utc_s = 1.8e9
    bench.read(1)
    assert "Read at 2027-01-15 13:45:00 UTC+05:45." in values_of(browser.get("/stations/bench-1").text)


def test_a_reading_without_a_clock_says_that_its_time_is_unknown_and_what_to_do(browser, bench):
    words = values_of(browser.get("/stations/bench-1").text)
    assert "Time unknown: the rig's clock has not been set" in words
    assert "time server" in words
    assert "UTC" not in words


def test_a_time_that_is_inferred_says_so_even_when_the_desk_was_started_anew(browser, desk, bench):
    # Set once, then lost: two minutes on, past the end of a small ring, the time is counted from there.
    desk.store.settings.change({"time_zone": "UTC"})
    bench.utc_s = 1.8e9
    bench.read(1)
    bench.utc_s = None
    bench.read(480)
    line = "Read at 2027-01-15 08:02:00 UTC (inferred): the rig's clock was not set just then"
    assert line in values_of(browser.get("/stations/bench-1").text)
    anew = Live(length=10)
    anew.recall(desk.store)
    desk.live = anew
    assert line in values_of(create_app(desk).test_client().get("/stations/bench-1").text)


@pytest.mark.parametrize(
    ("step_s", "said"), [(99.0, "set forward by 99.0 s, 21 s"), (-3.25, "set back by 3.2 s, 21 s")]
)
def test_a_clock_that_was_set_is_said_beside_the_values_for_an_hour(browser, bench, step_s, said):
    bench.utc_s, bench.clock_step_s = 1.8e9, step_s
    bench.read(1)
    bench.clock_step_s = None
    bench.read(84)
    words = values_of(browser.get("/stations/bench-1").text)
    assert said in words
    assert "Order and durations are not touched" in words
    bench._time_s += 3600.0
    bench.read(1)
    assert "clock was set" not in values_of(browser.get("/stations/bench-1").text)


def test_a_rig_that_starts_anew_infers_no_time_from_the_start_before(browser, bench):
    bench.utc_s = 1.8e9
    bench.read(1)
    bench.boot, bench.seq, bench.utc_s = "00000002-0000abcd", 0, None
    bench.read(1)
    assert "Time unknown" in values_of(browser.get("/stations/bench-1").text)


@pytest.mark.parametrize(("simulated", "proposed"), [(True, "ntc-310-80c"), (False, "")])
def test_no_curve_is_proposed_for_a_real_sender_before_the_first_run(desk, simulated, proposed):
    form = empty_form(desk.store, Settings(), Scale.CELSIUS, {}, simulated=simulated)
    assert form.typed["curve"] == proposed


def test_a_check_without_a_curve_is_refused_beside_the_field(browser, bench):
    form = {"item": "Sender", "curve": "", "set_points": "30 60 85", "rule": "guarded"}
    answer = browser.post("/stations/bench-1/sender-check", data=form)
    assert answer.status_code == 422
    assert 'id="curve-wrong"' in answer.text and "Choose …" in answer.text
