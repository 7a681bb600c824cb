"""Pages of a round, as somebody posts and reads them."""

import csv
import dataclasses
import io
import json
import re
import shutil

import pytest

from host.certificates.canonical import certificate_from_canonical
from host.people.role import Role
from host.procedures.record.issued_record import record_in_store
from host.procedures.record.recompute import RecomputeError, recompute
from host.procedures.record.record_folder import read_record, write_record
from host.procedures.rounds.station_round_runs import StationRounds
from host.web.app import create_app
from host.web.round_form import nominal_text
from host.web.rules import rule_of
from tests.host.web.filled_forms import A_ROUND, A_ROUND_OF_A_RESISTOR

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def desk(tmp_path_factory, small_desk):
    """One desk for all: a round does not see another."""
    made = small_desk(tmp_path_factory.mktemp("rounds"))
    yield made
    made.close()


@pytest.fixture(scope="module")
def finished_desk(tmp_path_factory, _finished_folder, small_desk):
    """One desk on which run 1 came to its certificate."""
    folder = tmp_path_factory.mktemp("finished") / "desk"
    shutil.copytree(_finished_folder, folder)
    made = small_desk(folder)
    yield made
    made.close()


def begin(browser, **changed):
    answer = browser.post("/rounds", data=A_ROUND | changed)
    assert answer.status_code == 303, answer.text
    return answer.location


def put(browser, address, what, **data):
    return browser.post(f"{address}/{what}", data=data)


def type_in(browser, address, station, value, u="0.12", k="2"):
    answer = put(browser, address, "take", station=station, value=value, expanded_u=u, k=k)
    assert answer.status_code == 303, answer.text


def words_of(browser, address):
    return re.sub(r"<[^>]+>|\s+", " ", browser.get(address).text).replace("&amp;", "&").replace("\xa0", " ")


def test_a_whole_round_from_the_form_to_the_certificate(browser, desk):
    address = begin(browser)
    assert "2 of 2 stations are missing" in " ".join(words_of(browser, address).split())
    type_in(browser, address, "station b", "-4.15")
    type_in(browser, address, "Station C", "-3.7")
    page = " ".join(words_of(browser, address).split())
    assert "Station C reads 0.50 K (0.90 °F) higher than the reference" in page
    assert "does not agree" in page and "Every station is in." in page
    assert put(browser, address, "close").status_code == 303
    page = " ".join(words_of(browser, address).split())
    (issued,) = desk.store.certificates.of_run(int(address.split("/")[-1]))
    assert f"certificate {issued.number}" in page and "Look at Station C first" in page
    (comparison,) = certificate_from_canonical(issued.files.canonical_json).points
    assert [one.agreement.words for one in comparison.stations] == ["agrees", "does not agree"]
    assert browser.get(f"/certificates/{issued.number}.pdf").data.startswith(b"%PDF")
    assert "does not agree" in browser.get(f"/certificates/{issued.number}").text
    assert issued.number in browser.get("/export/results.csv").text


def test_a_finished_check_of_the_sender_is_taken_at_its_temperature(finished_desk):
    browser = create_app(finished_desk).test_client()
    address = begin(browser, more_stations="")
    page = browser.get(address).text
    assert "bench-1, run 0001" in page and "another name" not in page
    assert put(browser, address, "take-run", run="1").status_code == 303
    (entry,) = StationRounds(finished_desk.store).view(int(address.split("/")[-1])).state.entries
    issued = finished_desk.store.certificates.get("000001")
    point = next(
        one for one in json.loads(issued.files.canonical_json)["body"]["points"]
        if abs(float(one["temperature_c"]["full"]) - 60.0) < 2.0
    )  # fmt: skip
    assert entry.station == "bench-1" and entry.run == 1
    assert entry.stated.value == pytest.approx(float(point["error_k"]["full"]))
    assert entry.stated.expanded_u == pytest.approx(float(point["expanded_u_k"]["full"]))
    assert "Simulated bench: nothing real was measured." in browser.get(address).text
    put(browser, address, "close")
    assert "Simulated bench: nothing real was measured." in browser.get(address).text


def test_an_issued_certificate_is_the_reference_of_the_same_sender_and_curve(finished_desk):
    browser = create_app(finished_desk).test_client()
    way = {"reference_way": "certificate", "reference_certificate": "000001"}
    address = begin(browser, **way)
    page = browser.get(address).text
    assert "certificate 000001 at bench-1, read at" in page
    # the check that the reference comes from would agree with itself
    assert "bench-1, run 0001" not in page
    for changed, words in (
        ({"at": "75"}, "nothing within 2"),
        ({"curve": "ntc-2k5-20c"}, "another curve is another quantity"),
        ({"reference_certificate": "000009"}, "000009"),
        ({"reference_certificate": ""}, "Write the number"),
    ):
        answer = browser.post("/rounds", data=A_ROUND | way | changed)
        assert answer.status_code == 422 and words in answer.text


ARTEFACTS = {
    "R-1000": "resistance_ohm = 1000.2\nexpanded_u_ohm = 0.1",
    "S-300": 'curve = "ntc-310-80c"\n[[point]]\ntemperature_c = 60.0\nerror_k = -4.1\nexpanded_u_k = 0.06',
}


@pytest.fixture(scope="module")
def artefacts(desk):
    for serial, values in ARTEFACTS.items():
        desk.store.register.add_text(
            f'kind = "artefact"\nserial = "{serial}"\ncertificate = "K 77"\nissuer = "Invented laboratory"\n'
            f"issued = 2025-03-01\nk = 2.0\n{values}"
        )


def test_the_certificate_of_an_artefact_in_the_register_is_the_reference(browser, desk, artefacts):
    way = {"reference_way": "register"}
    page = browser.get("/rounds").text
    assert "S-300, certificate K 77" in page
    address = begin(browser, **way, reference_serial="S-300")
    assert "certificate K 77 of S-300, Invented laboratory, error at 60" in browser.get(address).text
    type_in(browser, address, "Station B", "-4.15")
    put(browser, address, "leave-out", station="Station C", reason="not today")
    put(browser, address, "close")
    (issued,) = desk.store.certificates.of_run(int(address.split("/")[-1]))
    certificate = certificate_from_canonical(issued.files.canonical_json)
    (used,) = certificate.instruments
    assert (used.serial, used.expanded_u) == ("S-300", "0.060 K (k = 2)")
    resistor = browser.post("/rounds", data=A_ROUND_OF_A_RESISTOR | way | {"reference_serial": "R-1000"})
    assert "1000.20 Ω ± 0.10 Ω" in browser.get(resistor.location).text.replace("\xa0", " ")
    filled = browser.get("/rounds?artefact=R-1000").text
    assert re.search(r'name="at"[^>]*value="1000"', filled)
    for serial in ARTEFACTS:
        number = next(one.number for one in desk.store.register.standings() if one.serial == serial)
        shown = browser.get(f"/register/{number}").text
        assert "What goes round the stations" in browser.get("/register").text
        assert ("1000.2" if serial == "R-1000" else "error at 60") in shown


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"reference_serial": "R-1000"}, "says nothing of the error"),
        ({"reference_serial": "S-300", "at": "75"}, "is certified at 60"),
        ({"reference_serial": "S-300", "curve": "ntc-2k5-20c"}, "is certified by the curve"),
        ({"reference_serial": "S-9"}, "Choose an artefact"),
        ({"reference_serial": "R-1000", "quantity": "resistance", "at": "2k"}, "the round is at 2000"),
    ],
)
def test_an_artefact_that_says_nothing_of_the_round_is_refused(browser, artefacts, changed, words):
    answer = browser.post("/rounds", data=A_ROUND | {"reference_way": "register"} | changed)
    assert answer.status_code == 422 and words in answer.text.replace("\xa0", " ")


def test_an_artefact_is_added_on_its_form(browser, desk):
    sent = {
        "kind": "artefact", "serial": "R-325", "certificate": "K 5", "issuer": "Invented laboratory",
        "issued": "2025-03-01", "resistance_ohm": "325.06", "expanded_u_ohm": "0.05", "k": "2",
    }  # fmt: skip
    assert "Of a fixed resistor" in browser.get("/register/add?kind=artefact").text
    assert browser.post("/register/add", data=sent).status_code == 303
    assert any(one.serial == "R-325" for one in desk.store.register.standings())


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"artefact": ""}, "Write what goes round"),
        ({"quantity": "length"}, "Choose what is compared"),
        ({"at": "warm"}, "is not a temperature"),
        ({"curve": ""}, "Choose the curve"),
        ({"reference_value": ""}, "Write the error in K"),
        ({"reference_u": "0"}, "above zero"),
        ({"reference_k": "1"}, "twice the number"),
        ({"reference_words": ""}, "Write where it comes from"),
        ({"reference_way": "a friend"}, "Choose where the reference comes from"),
        ({"read_by": "soon"}, "Write the day as"),
        ({"read_by": "2001-01-01"}, "That day is over"),
        ({"more_stations": ", ".join(f"S{n}" for n in range(40))}, "has room for 30"),
        ({"kept": "in a 箱"}, "not in the fonts"),
    ],
)
def test_the_form_refuses_beside_the_field_and_keeps_what_was_typed(browser, changed, words):
    answer = browser.post("/rounds", data=A_ROUND | changed)
    assert answer.status_code == 422
    assert words in answer.text.replace("\xa0", " ") and 'class="error"' in answer.text
    assert "certificate 4/31" in answer.text or "reference_words" in changed


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"station": ""}, "which station it is"),
        ({"value": "high"}, "Write the error in K"),
        ({"expanded_u": "0"}, "above zero"),
        ({"k": "1"}, "twice the number"),
    ],
)
def test_a_typed_result_is_refused_beside_its_field(browser, typed, words):
    address = begin(browser)
    result = {"station": "Station B", "value": "-4.2", "expanded_u": "0.1", "k": "2"} | typed
    answer = put(browser, address, "take", **result)
    assert answer.status_code == 422 and words in answer.text
    assert browser.get(f"{address}/results.csv").text.count("typed by hand") == 0


def test_a_resistor_is_read_by_the_rig_of_a_station(browser, desk, bench):
    bench.series_ohm = 0.0
    bench.bath_c = 48.0  # the small bench reads some 1000 Ω there: the place of a resistor
    bench.read(100)
    address = browser.post("/rounds", data=A_ROUND_OF_A_RESISTOR).location
    assert put(browser, address, "read", station="bench-1").status_code == 303
    (entry,) = StationRounds(desk.store).view(int(address.split("/")[-1])).state.entries
    assert entry.cites is not None and "as bought (0.6 %)" in entry.words
    assert entry.stated.expanded_u == pytest.approx(2 * 0.006 * entry.stated.value / 3**0.5, rel=0.05)
    assert put(browser, address, "read", station="bench-9").status_code == 422


@pytest.mark.parametrize(
    ("certified_ohm", "nominal"),
    [
        (1000.85, "1000"),
        (1217.3, "1217"),
        (325.06, "325"),
        (47.012, "47"),
        (4.7, "4.7"),
        (99998.0, "100000"),
        (0.0102, "0.0102"),
    ],
)
def test_the_nominal_of_a_resistor_is_filled_in_without_an_exponent(certified_ohm, nominal):
    assert nominal_text(certified_ohm) == nominal


def test_nothing_is_to_be_read_at_once_where_no_station_of_the_desk_is_missing(at_1_kohm):
    desk, _, browser = at_1_kohm
    address = browser.post("/rounds", data=A_ROUND_OF_A_RESISTOR | {"more_stations": "bench-1"}).location
    assert "Read at every station that is missing" in browser.get(address).text
    assert put(browser, address, "read").status_code == 303
    page = browser.get(address).text
    assert "Every station is in." in page and "Read it now" in page
    assert "Read at every station that is missing" not in page
    again = put(browser, address, "read")
    assert again.status_code == 422 and "No station of this desk is missing: nothing was read." in again.text
    assert len(StationRounds(desk.store).view(int(address.split("/")[-1])).state.entries) == 1


@pytest.fixture
def at_1_kohm(tmp_path, small_desk):
    """A desk of its own whose bench has read some 1000 Ω for 25 s."""
    made = small_desk(tmp_path)
    bench = made.add_bench()
    bench.say()
    bench.bath_c = 48.0
    bench.read(100)
    yield made, bench, create_app(made).test_client()
    made.close()


def test_what_was_read_before_the_resistor_was_clipped_in_is_none_of_it(at_1_kohm):
    desk, bench, browser = at_1_kohm
    address = browser.post("/rounds", data=A_ROUND_OF_A_RESISTOR | {"more_stations": "bench-1"}).location
    assert put(browser, address, "clip-in").status_code == 303
    early = put(browser, address, "read", station="bench-1")
    assert early.status_code == 422 and "clipped in only just now" in early.text
    bench.read(5)
    early = put(browser, address, "read", station="bench-1")
    assert early.status_code == 422 and "gave 5 good readings" in early.text
    bench.read(35)  # within the 20 s that count
    assert put(browser, address, "read", station="bench-1").status_code == 303
    (entry,) = StationRounds(desk.store).view(int(address.split("/")[-1])).state.entries
    assert entry.cites.first == 101, "the first reading after the clips were on"


def test_a_rig_that_fell_silent_is_not_read_as_now(at_1_kohm):
    desk, _, browser = at_1_kohm
    address = browser.post("/rounds", data=A_ROUND_OF_A_RESISTOR).location
    desk.let_wall_time_pass(41.0)
    answer = put(browser, address, "read", station="bench-1")
    assert answer.status_code == 422 and "is not of now" in answer.text
    assert StationRounds(desk.store).view(int(address.split("/")[-1])).state.entries == ()


def test_a_resistor_is_read_surer_after_the_ohms_check_of_the_day_and_worked_out_again(
    finished_desk, tmp_path
):
    bench = finished_desk.benches["bench-1"]
    bench.boot = "00000002-0000abcd"
    bench.say(boot=bench.boot)
    bench.heater_c, bench.bath_c, bench.series_ohm = None, 60.0, 0.0
    bench.read(200)
    browser = create_app(finished_desk).test_client()
    address = browser.post("/rounds", data=A_ROUND_OF_A_RESISTOR).location
    assert put(browser, address, "read", station="bench-1").status_code == 303
    (entry,) = StationRounds(finished_desk.store).view(int(address.split("/")[-1])).state.entries
    assert "corrected by the ohms check of run 0001" in entry.words
    assert entry.stated.expanded_u < 0.002 * entry.stated.value
    put(browser, address, "close")
    store, run = finished_desk.store, int(address.split("/")[-1])
    record = record_in_store(store, store.certificates.of_run(run)[0].number)
    assert recompute(record).difference is None
    write_record(store, record, tmp_path / "folder")
    elsewhere = read_record(tmp_path / "folder")
    assert recompute(elsewhere).difference is None
    # what the event says of it is not what counts, but what the readings say
    slipped = tuple(
        dataclasses.replace(one, payload={**one.payload, "value": 1.0}) if one.kind == "taken" else one
        for one in elsewhere.timed_events
    )
    again = recompute(dataclasses.replace(elsewhere, timed_events=slipped))
    assert again.difference == "the events of its run: its link in the chain names 2 others"
    assert all(then == now for _, then, now in again.rows)
    gone = dataclasses.replace(elsewhere, readings_of=lambda cited: ())
    with pytest.raises(RecomputeError, match="The readings are gone"):
        recompute(gone)


def test_what_comes_again_counts_once_somebody_says_why(browser):
    address = begin(browser)
    type_in(browser, address, "Station B", "-4.1")
    type_in(browser, address, "Station B", "-4.2")
    assert "does not count (again)" in " ".join(words_of(browser, address).split())
    assert put(browser, address, "answer", entry="2", counts="yes", reason="").status_code == 422
    assert put(browser, address, "answer", entry="2", counts="yes", reason="a loose clip").status_code == 303
    rows = list(csv.DictReader(io.StringIO(browser.get(f"{address}/results.csv").text.lstrip("\ufeff"))))
    assert [row["counts"] for row in rows] == ["no", "yes"]


def test_a_station_is_left_out_with_a_reason_and_had_in_again(browser):
    address = begin(browser)
    type_in(browser, address, "Station B", "-4.1")
    assert put(browser, address, "close").status_code == 422
    assert put(browser, address, "leave-out", station="Station C", reason="").status_code == 422
    put(browser, address, "leave-out", station="Station C", reason="its jug leaks")
    page = " ".join(words_of(browser, address).split())
    assert "Station C is left out: its jug leaks" in page and "Nothing more is awaited." in page
    put(browser, address, "take-back", station="Station C")
    assert "1 of 2 stations is missing" in " ".join(words_of(browser, address).split())


def test_the_station_offered_first_is_one_that_is_missing_and_none_where_all_are_in(at_1_kohm):
    _, _, browser = at_1_kohm
    address = browser.post(
        "/rounds", data=A_ROUND_OF_A_RESISTOR | {"more_stations": "bench-1, Z yard"}
    ).location
    assert offered(browser, address, "out") == "bench-1"
    assert put(browser, address, "read", station="bench-1").status_code == 303
    assert offered(browser, address, "out") == "Z yard"
    type_in(browser, address, "Z yard", "1000.1", u="0.5")
    assert offered(browser, address, "out") == "Choose"
    assert put(browser, address, "leave-out", station="", reason="why not").status_code == 422


def test_the_rig_offered_first_is_one_that_is_missing(at_1_kohm):
    desk, _, browser = at_1_kohm
    second = desk.add_bench("bench-2")
    second.say()
    address = browser.post(
        "/rounds", data=A_ROUND_OF_A_RESISTOR | {"more_stations": "bench-1, bench-2"}
    ).location
    assert offered(browser, address, "rig") == "bench-1"
    assert put(browser, address, "read", station="bench-1").status_code == 303
    assert offered(browser, address, "rig") == "bench-2"


def offered(browser, address, select):
    """The option that a form has chosen when it is opened: the one that is selected, or else the first."""
    page = browser.get(address).text
    options = page.split(f'<select id="{select}"')[1].split("</select>")[0].split("<option")[1:]
    chosen = [one for one in options if " selected" in one.split(">")[0]] or options
    return chosen[0].split(">")[1].split("<")[0]


def test_a_stopped_round_takes_nothing_more(browser):
    address = begin(browser)
    put(browser, address, "stop", reason="the sender fell down")
    assert "This round was stopped: the sender fell down" in browser.get(address).text
    answer = put(browser, address, "take", station="Station B", value="1", expanded_u="1", k="2")
    assert answer.status_code == 422 and "is over" in answer.text


def test_a_reader_of_fahrenheit_types_and_reads_in_it(browser):
    browser.get("/rounds?scale=f")
    given = {"quantity": "temperature", "at": "140", "curve": "", "reference_value": "140.0"}
    address = begin(browser, **given)
    type_in(browser, address, "Station B", "140.18")  # 60.10 °C
    page = " ".join(words_of(browser, address).split())
    assert "temperature at 140 °F (60 °C)" in page and ">°F</text>" in browser.get(address).text
    (entry,) = csv.DictReader(io.StringIO(browser.get(f"{address}/results.csv").text.lstrip("\ufeff")))
    assert float(entry["value [°C]"]) == pytest.approx(60.1)


def test_a_round_is_no_page_for_students(desk):
    app = create_app(desk)
    pages = [rule.endpoint for rule in app.url_map.iter_rules() if rule.endpoint.startswith("rounds.")]
    assert len(pages) >= 10
    assert all(Role.STUDENT not in rule_of(app, page).roles for page in pages)


def test_other_runs_are_no_rounds_and_rounds_are_found_from_the_list(browser, finished_desk):
    other = create_app(finished_desk).test_client()
    assert other.get("/rounds/1").status_code == 404
    address = begin(browser)
    number = address.split("/")[-1]
    assert browser.get(f"/runs/{number}").location == address
    assert "through the stations" in browser.get("/runs").text
    assert address in browser.get("/rounds").text
