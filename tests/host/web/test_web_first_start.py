import pytest

from host.errors import DeskError
from host.simulated_bench import STATION, BenchState
from host.web.app import create_app


def test_a_desk_that_nobody_has_used_shows_three_doors(browser):
    page = browser.get("/").text
    for door in ("Try it on the simulated bench", "Type readings by hand", "Join a Raspberry Pi"):
        assert door in page
    assert "ohmbath station join" in page


def test_a_desk_with_a_station_shows_it_and_the_doors_stay_reachable(browser, desk, bench):
    assert "bench-1" in browser.get("/").text
    assert "Type readings by hand" not in browser.get("/").text
    page = browser.get("/begin").text
    assert "Type readings by hand" in page
    assert "heard" in page


def test_a_station_is_added_by_its_name_and_no_password_passes_through_the_page(browser, desk):
    answer = browser.post("/begin/station", data={"name": "bench-7"})
    assert answer.status_code == 303
    assert [known.station for known in desk.store.stations.all()] == ["bench-7"]
    page = browser.get("/begin").text
    assert "station join bench-7 --join-file bench-7.toml" in page
    assert "not heard yet" in page
    assert "password =" not in page


@pytest.mark.parametrize("name", ["", "Bench 1", "bench-1"])
def test_a_name_that_cannot_be_is_said_beside_the_field_and_stays_typed(browser, desk, bench, name):
    answer = browser.post("/begin/station", data={"name": name})
    assert answer.status_code == 422
    assert 'id="name-wrong">' in answer.text
    assert f'value="{name}"' in answer.text
    assert [known.station for known in desk.store.stations.all()] == ["bench-1"]


def test_real_work_never_rests_on_simulated_instruments(desk):
    real = desk.add_bench("bench-2", simulated=False)  # its papers are simulated ones
    real.say()
    real.read(40)
    with pytest.raises(DeskError, match="exists in simulation only"):
        desk.runs.start_sender_check(
            station="bench-2", item="Sender", curve="ntc-310-80c", set_points_c=(30.0, 60.0, 85.0)
        )


@pytest.mark.slow
def test_the_first_door_leads_to_a_simulated_bench_that_is_heard_and_can_begin_a_check(broker_desk, until):
    browser = create_app(broker_desk).test_client()
    assert browser.post("/begin/simulated").status_code == 303
    until(lambda: broker_desk.simulated_bench.state is BenchState.HEARD, "the bench is heard", 60.0)
    assert f"{STATION} is heard" in browser.get("/begin").text
    form = {"item": "Sender 1", "curve": "ntc-310-80c", "set_points": "30 60 85", "rule": "guarded"}
    started = browser.post(f"/stations/{STATION}/sender-check", data=form)
    assert started.status_code == 303
    assert "Let the simulated hands do it" in browser.get(started.location).text
    rig = broker_desk.simulated_bench._rig.pid
    browser.post("/begin/simulated")
    assert broker_desk.simulated_bench._rig.pid == rig
    browser.post("/begin/simulated/stop")
    assert broker_desk.simulated_bench.state is BenchState.OFF


@pytest.mark.slow
def test_a_desk_with_real_instruments_gets_no_simulated_ones_beside_them(broker_desk, real_probe_paper):
    broker_desk.store.register.add_text(real_probe_paper)
    browser = create_app(broker_desk).test_client()
    answer = browser.post("/begin/simulated")
    assert answer.status_code == 409
    assert "holds real instruments" in answer.text
    assert broker_desk.simulated_bench.state is BenchState.OFF
