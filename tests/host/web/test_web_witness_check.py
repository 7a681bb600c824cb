"""The witness check over the pages: beside the probe at three temperatures."""

import json
from dataclasses import replace

import pytest
from click.testing import CliRunner

from host.cli import main
from host.procedures.logged import events_of
from host.procedures.record.recompute import RecomputeError
from host.procedures.record.recompute_witness import recompute_witness_check

pytestmark = pytest.mark.slow


def settle(bench, at_c):
    bench.bath_c = at_c
    bench.read(100)


def test_a_witness_read_at_three_temperatures_gets_its_corrections(browser, desk, bench):
    begun = browser.post("/witness-check", data={"station": "bench-1", "serial": "W-3"})
    where = begun.headers["Location"]
    for at_c in (30.0, 60.0, 85.0):
        settle(bench, at_c)
        assert browser.post(f"{where}/read", data={"do": "read"}).status_code == 303
    assert browser.post(f"{where}/read", data={"do": "finish"}).status_code == 303
    points = desk.store.register.standing("witness", "W-3").in_force.content["point"]
    # The witness of the small bench reads 0.1 K low, in steps of 1/16 K.
    assert [row["correction_k"] for row in points] == pytest.approx([0.1] * 3, abs=0.05)
    assert all(abs(row["correction_k"] - 0.1) < row["expanded_u_k"] < 0.6 for row in points)
    assert "in the register" in browser.get(where).text
    assert "W-3" in browser.get("/witness-check").text and "W-3" in browser.get("/runs").text
    _comes_out_the_same_from_its_readings(desk)
    assert browser.post(f"{where}/read", data={"do": "read"}).status_code == 422


def test_a_witness_read_at_a_simulated_station_is_simulated_whatever_its_probes_paper_says(browser, desk):
    desk.add_bench("bench-2", simulated=True, real_papers=True).read(1)
    begun = browser.post("/witness-check", data={"station": "bench-2", "serial": "W-4"})
    assert begun.status_code == 303
    started = events_of(desk.store, 1)[0].payload
    assert started["simulated"] and not started["probe"]["simulated"]


def _comes_out_the_same_from_its_readings(desk):
    command = ["certificate", "recompute", "--run", "1", "--json", "--data", str(desk.folder)]
    again = CliRunner().invoke(main, command)
    assert again.exit_code == 0, again.output
    said = json.loads(again.output)
    assert (said["same"], len(said["numbers"])) == (True, 3 * 5 + 3 * 3)

    def shifted(cited):
        packs = desk.store.readings_of(cited)
        return [
            replace(pack, channels=pack.channels | {"witness": replace(witness, value=witness.value + 0.01)})
            for pack in packs
            if (witness := pack.channels["witness"]).value is not None
        ]

    entries = {entry.sha256: entry.content for entry in desk.store.register.all()}
    other = recompute_witness_check(1, events_of(desk.store, 1), shifted, entries)
    assert other.difference is not None and other.difference.startswith("shown_c of reading 1")
    with pytest.raises(RecomputeError, match="readings are gone"):
        recompute_witness_check(1, events_of(desk.store, 1), lambda cited: [], entries)
    with pytest.raises(RecomputeError, match="nothing to compare"):
        recompute_witness_check(1, events_of(desk.store, 1)[:-1], shifted, entries)


def test_two_temperatures_a_drifting_bath_and_the_same_temperature_twice_are_refused(browser, desk, bench):
    where = browser.post("/witness-check", data={"station": "bench-1", "serial": "W-3"}).headers["Location"]
    settle(bench, 30.0)
    browser.post(f"{where}/read", data={"do": "read"})
    again = browser.post(f"{where}/read", data={"do": "read"})
    assert again.status_code == 422 and "already" in again.text
    bench.heater_c = 80.0
    bench.read(60)
    moving = browser.post(f"{where}/read", data={"do": "read"})
    assert moving.status_code == 422 and "The bath drifts by" in moving.text
    assert "then read both again" in moving.text and "shoot" not in moving.text
    early = browser.post(f"{where}/read", data={"do": "finish"})
    assert early.status_code == 422 and "1 so far" in early.text
    assert desk.store.register.current("witness") is None


def test_simulated_hands_bring_the_bath_of_a_witness_check_to_each_temperature_and_the_page_says_it_live(
    browser, bench, events_of
):
    where = browser.post("/witness-check", data={"station": "bench-1", "serial": "W-3"}).headers["Location"]
    for at_c in (30.0, 60.0, 85.0):
        assert f"bring it to {at_c:g} °C" in plain(browser.get(where))
        assert browser.post(f"{where}/hands").status_code == 303
        assert bench.heater_c == at_c
        assert f"set the heater to {at_c:g} °C" in plain(browser.get(where))
        bench.read(2000)
        assert "it stands still enough" in browser.get(where).text
        assert browser.post(f"{where}/read", data={"do": "read"}).status_code == 303
        assert "set the heater" not in browser.get(where).text
    page = browser.get(where).text
    assert "Let the simulated hands" not in page and f'data-stream="{where}/live"' in page
    stream = browser.get(f"{where}/live", buffered=False)
    parts = stream.iter_encoded()
    [now] = events_of(next(parts).decode() + next(parts).decode())
    stream.close()
    assert "Bath now:" in now["live"] and now["run"] == 1
    assert browser.post(f"{where}/read", data={"do": "finish"}).status_code == 303
    over = browser.get(where).text
    assert "data-stream" not in over and "Bath now" not in over
    assert browser.post(f"{where}/hands").status_code == 409


def test_a_real_bath_of_a_witness_check_has_no_simulated_hands(browser, desk):
    desk.add_bench("bench-2", simulated=False, real_papers=True).read(1)
    where = browser.post("/witness-check", data={"station": "bench-2", "serial": "W-4"}).headers["Location"]
    assert "simulated hands" not in browser.get(where).text
    assert browser.post(f"{where}/hands").status_code == 409


def test_simulated_hands_leave_a_bath_alone_that_is_at_a_run(browser, desk, bench):
    where = browser.post("/witness-check", data={"station": "bench-1", "serial": "W-3"}).headers["Location"]
    settle(bench, 22.0)
    heater_c = bench.heater_c
    run = desk.runs.start_sender_check(
        station="bench-1", item="a sender", curve="ntc-310-80c", set_points_c=(30.0, 60.0, 85.0)
    )
    answer = browser.post(f"{where}/hands")
    assert answer.status_code == 422 and f"is busy with run {run:04d}" in plain(answer)
    assert bench.heater_c == heater_c


def plain(answer):
    return answer.text.replace("\N{NO-BREAK SPACE}", " ")


def test_a_start_without_station_and_serial_is_refused_beside_the_fields(browser, bench):
    answer = browser.post("/witness-check", data={})
    assert answer.status_code == 422
    assert "Choose the station" in answer.text and "Write its serial" in answer.text


def test_a_silent_station_s_last_readings_are_no_temperature_of_a_witness(browser, desk, bench):
    where = browser.post("/witness-check", data={"station": "bench-1", "serial": "W-3"}).headers["Location"]
    settle(bench, 60.0)
    desk.let_wall_time_pass(20.0)
    answer = browser.post(f"{where}/read", data={"do": "read"})
    assert answer.status_code == 422 and "bench-1 is silent for 20 s" in answer.text.replace(
        "\N{NO-BREAK SPACE}", " "
    )
    bench.read(1)
    assert browser.post(f"{where}/read", data={"do": "read"}).status_code == 303


CERTIFIED = """
kind = "witness"
serial = "T-1"
certificate = "K-5"
issuer = "Heron Laboratory"
issued = 2030-01-01
resolution_k = 0.01
k = 2.0
point = [
  { shown_c = 0.0, correction_k = 0.20, expanded_u_k = 0.06 },
  { shown_c = 100.0, correction_k = 0.20, expanded_u_k = 0.06 },
]
"""


def start_by_hand(browser, **changed):
    typed = {"station": "by hand", "serial": "T-9", "reference": "T-1", "resolution_k": "0.1"}
    return browser.post("/witness-check", data=typed | changed)


def both_say(browser, reference, shown, **more):
    typed = {"do": "typed", "reference": reference, "shown": shown}
    return browser.post("/witness-check/1/read", data=typed | more)


def test_a_thermometer_is_held_beside_a_certified_one_by_hand_without_any_station(browser, desk):
    desk.store.register.add_text(CERTIFIED)
    assert "T-1, certificate K-5" in browser.get("/witness-check").text
    assert start_by_hand(browser).headers["Location"] == "/witness-check/1"
    page = browser.get("/witness-check/1").text
    assert "T-1 says" in page and "T-9 says" in page and "Read both now" not in page
    for reference, shown in (("29.80", "30.5"), ("59.80", "60.5")):
        assert both_say(browser, reference, shown).status_code == 303
    again = both_say(browser, "60.80", "61.5")
    assert again.status_code == 422 and "already" in again.text and 'value="61.5"' in again.text
    fahrenheit = both_say(browser, "185.0", "186.62", page_scale="f")
    assert fahrenheit.status_code == 303
    assert browser.post("/witness-check/1/read", data={"do": "finish"}).status_code == 303
    entry = desk.store.register.standing("witness", "T-9").in_force
    # The reference reads 0.2 K low and knows it: 29.8 is 30.0, and 30.5 is 0.5 K too high.
    # 185 °F is 85.0 °C, so 85.2 °C; 186.62 °F is 85.9 °C: 0.7 K too high.
    points = entry.content["point"]
    assert [row["correction_k"] for row in points] == pytest.approx([-0.5, -0.5, -0.7], abs=0.001)
    # Certificate 0.03 K, bend of a straight certificate 0, last digits 0.1 and 0.01 K, and the lag of 20 s at
    # 0.5 K/min by eye, as rectangles: u is hypot(0.03, 0.1/√12, 0.01/√12, 0.1667/√3).
    u_k = (0.03**2 + 0.1**2 / 12.0 + 0.01**2 / 12.0 + (20.0 / 60.0 * 0.5) ** 2 / 3.0) ** 0.5
    assert [row["expanded_u_k"] for row in points] == pytest.approx([2.0 * u_k] * 3, abs=0.002)
    assert "beside another, by hand" in browser.get("/runs").text
    assert "by hand beside T-1" in browser.get("/witness-check/1").text
    command = ["certificate", "recompute", "--run", "1", "--json", "--data", str(desk.folder)]
    again = CliRunner().invoke(main, command)
    assert again.exit_code == 0 and json.loads(again.output)["same"] is True, again.output


def test_a_check_by_hand_needs_a_certified_thermometer_that_may_be_used_and_is_another(browser, desk, bench):
    nothing = start_by_hand(browser)
    assert nothing.status_code == 422 and 'id="reference-wrong"' in nothing.text
    past = CERTIFIED.replace("issued = 2030-01-01", "issued = 2020-01-01\ndue = 2021-01-01")
    desk.store.register.add_text(past)
    late = start_by_hand(browser)
    assert late.status_code == 422 and "2021-01-01" in late.text
    desk.store.register.add_text(CERTIFIED)
    itself = start_by_hand(browser, serial="T-1")
    assert itself.status_code == 422 and "no reference of itself" in itself.text
    coarse = start_by_hand(browser, resolution_k="")
    assert coarse.status_code == 422 and 'id="resolution_k-wrong"' in coarse.text
    start_by_hand(browser)
    outside = both_say(browser, "130", "131")
    assert outside.status_code == 422 and "certified from 0.0 to 100.0" in outside.text
    read = browser.post("/witness-check/1/read", data={"do": "read"})
    assert read.status_code == 422 and "No station reads this one" in read.text
    where = browser.post("/witness-check", data={"station": "bench-1", "serial": "W-3"}).headers["Location"]
    typed = browser.post(f"{where}/read", data={"do": "typed", "reference": "30", "shown": "30"})
    assert typed.status_code == 422 and "bench-1 reads both itself" in typed.text


def instruction(page):
    return page.split('class="instruction">')[1].split("</h2>")[0]


def test_who_may_boil_water_is_told_of_its_steam_and_who_only_heats_a_bath_of_that(browser, desk, bench):
    desk.store.register.add_text(CERTIFIED)
    beside = start_by_hand(browser).headers["Location"]
    station = browser.post("/witness-check", data={"station": "bench-1", "serial": "W-3"}).headers["Location"]
    for where, steam in ((beside, True), (station, False)):
        page = browser.get(where).text
        assert "Bring the bath to a first temperature" in instruction(page) and "heater off while" in page
        assert ("never a closed vessel" in page) is steam and "Three temperatures" in page


def test_a_thermometer_begun_in_boiling_water_is_asked_into_ice(browser, desk):
    where = start_by_hand(browser, reference="ice and boiling water").headers["Location"]
    typed = {"do": "boiling", "shown": "99", "pressure": "1000hPa"}
    assert browser.post(f"{where}/read", data=typed).status_code == 303
    assert instruction(browser.get(where).text).startswith("Stand it in crushed ice;")


def test_a_thermometer_with_a_display_is_checked_in_ice_and_boiling_water_without_a_rig(browser, desk):
    assert start_by_hand(browser, reference="ice and boiling water").status_code == 303
    page = browser.get("/witness-check/1").text
    assert "by hand in ice and boiling water" in page and "That is what both say" not in page

    def read(where, shown, **more):
        return browser.post("/witness-check/1/read", data={"do": where, "shown": shown, **more})

    assert "crushed ice, then in water that boils" in instruction(page)
    for careful in ("steam", "lid off", "tongs", "eye protection", "never a closed vessel"):
        assert careful in page
    for of_a_bath in ("Bring the bath", "heater off", "both stand still", "Three temperatures"):
        assert of_a_bath not in page
    assert read("ice", "0.3").status_code == 303
    assert instruction(browser.get("/witness-check/1").text).startswith("Stand it in water that boils")
    again = read("ice", "0.3")
    assert again.status_code == 422 and "take the other of ice and boiling water" in again.text
    assert "bath" not in again.text.split('role="alert"')[1].split("</p>")[0]
    unsaid = read("boiling", "98.0")
    assert unsaid.status_code == 422 and 'id="pressure-wrong"' in unsaid.text
    # IAPWS-IF97 (release of 2007, table 36): water boils at 99.6059 °C under 0.1 MPa; 210.6 °F is 99.222 °C.
    assert read("boiling", "210.6", pressure="1000hPa", page_scale="f").status_code == 303
    assert "keep it as a record" in instruction(browser.get("/witness-check/1").text)
    early = browser.post("/witness-check/1/read", data={"do": "finish"})
    assert early.status_code == 422 and "2 so far" in early.text
    ice, boiling = (event.payload for event in events_of(desk.store, 1) if event.kind == "read")
    assert ice["shown_c"] - ice["reference_c"] == pytest.approx(0.3)
    assert boiling["shown_c"] - boiling["reference_c"] == pytest.approx(99.222 - 99.606, abs=0.002)
    assert boiling["words"] == "water boiling at 1000.0 hPa, read by hand"
    assert browser.post("/witness-check/1/read", data={"do": "keep"}).status_code == 303
    over = browser.get("/witness-check/1").text.replace("\N{NO-BREAK SPACE}", " ")
    # U at ice: half-widths 0.05 K (the bath) and 0.05 K (last digit): 2 hypot(0.05, 0.05) / √3, hardly more.
    assert "It reads 0.300 K too high at 0.0 °C, sure to 0.08" in over
    assert not [one for one in desk.store.register.all() if one.serial == "T-9"]
    assert read("ice", "0.3").status_code == 422
