"""Readings, results and register leave the desk as tables that hold what the store and the paper hold."""

import csv
import io
import json

import pytest
from click.testing import CliRunner

from host.citation import Citation
from host.cli import main
from host.store.rests_on import citations_in
from host.tables.readings import readings_of_run
from host.web.app import create_app

pytestmark = pytest.mark.slow


@pytest.fixture
def browser(finished_desk):
    return create_app(finished_desk).test_client()


def rows_of(answer) -> list[dict[str, str]]:
    text = answer.data.decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_the_readings_of_a_run_are_those_it_cites_each_once(browser, finished_desk):
    store = finished_desk.store
    rows = rows_of(browser.get("/export/runs/1/readings.csv"))
    cited = citations_in([payload for _, payload in store.runs.events(1)])
    numbers = {(one.station, one.boot, seq) for one in cited for seq in range(one.first, one.last + 1)}
    assert [(row["station"], row["boot"], int(row["seq"])) for row in rows] == sorted(numbers)
    first = Citation(station=rows[0]["station"], boot=rows[0]["boot"], first=int(rows[0]["seq"]), last=10**6)
    (pack,) = store.readings(first.station, first.boot, first.first, first.first)
    assert float(rows[0]["sender_raw [count]"]) == pack.channels["sender"].raw
    assert "+" in rows[0]["time"] or rows[0]["time"] == "" or "-" in rows[0]["time"][10:]
    data = json.loads(browser.get("/export/runs/1/readings.json").data)
    assert len(data["rows"]) == len(rows)
    assert data["units"]["probe_ohm"] == "Ω"
    assert browser.get("/export/runs/99/readings.csv").status_code == 404
    assert sum(one.last - one.first + 1 for one in readings_of_run(store, 1)) == len(rows)


def test_results_are_the_digits_of_the_paper(browser, finished_desk):
    rows = rows_of(browser.get("/export/results.csv"))
    points = json.loads(finished_desk.store.certificates.get("000001").files.canonical_json)["body"]["points"]
    assert len(rows) == len(points)
    for row, point in zip(rows, points, strict=True):
        assert row["certificate"] == "000001"
        assert row["point_verdict"] == point["verdict"]
        for name, header in (("error_k", "error_k [K]"), ("temperature_c", "temperature_c [°C]")):
            assert row[header] == point[name]["reported"]
            assert row[header.replace(" [", "_full [")] == repr(float(point[name]["full"]))


def test_the_register_and_its_links_are_on_the_pages(browser):
    rows = rows_of(browser.get("/export/register.csv"))
    assert {row["kind"] for row in rows} == {"probe", "decade_box"}
    assert "/export/register.csv" in browser.get("/register").text
    assert "/export/results.csv" in browser.get("/certificates").text
    assert "/export/runs/1/readings.csv" in browser.get("/runs/1").text


def test_the_command_writes_the_same_and_overwrites_nothing(browser, finished_desk, tmp_path):
    runner, folder = CliRunner(), str(finished_desk.folder)
    for words, page in (
        (["readings", "--run", "1"], "/export/runs/1/readings.csv"),
        (["results"], "/export/results.csv"),
        (["register"], "/export/register.csv"),
    ):
        file = tmp_path / f"{words[0]}.csv"
        made = runner.invoke(main, ["export", words[0], str(file), *words[1:], "--data", folder])
        assert made.exit_code == 0, made.output
        assert file.read_bytes() == browser.get(page).data
        again = runner.invoke(main, ["export", words[0], str(file), *words[1:], "--data", folder])
        assert again.exit_code == 2
    nowhere = runner.invoke(main, ["export", "readings", str(tmp_path / "x.csv"), "--data", folder])
    assert nowhere.exit_code == 2
