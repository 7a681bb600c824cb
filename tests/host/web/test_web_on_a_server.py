"""A whole check with the store on a PostgreSQL server."""

import pytest

from host.data_folder import DataFolder

pytestmark = [pytest.mark.slow, pytest.mark.postgresql]


@pytest.fixture
def tmp_path(tmp_path, postgresql):
    """Data folder of the desk under test, its store on the server."""
    folder = DataFolder(tmp_path)
    (folder.path / "store.url").write_text(postgresql.new_url(), "utf-8")
    return tmp_path


def test_a_sender_check_comes_to_its_certificate_with_the_store_on_a_server(desk, bench, browser):
    assert not desk.store.is_file
    bench.series_ohm = 25.0
    run = desk.runs.start_sender_check(
        station="bench-1", item="Sender, tag 7", curve="ntc-310-80c", set_points_c=(30.0, 60.0, 85.0)
    )
    desk.let_hands_finish(run, bench=bench)
    assert desk.runs.view(run).state.certificate == "000001"
    page = browser.get(f"/runs/{run}").text
    assert "out of tolerance" in page.lower()
    assert browser.get("/certificates/000001.pdf").data.startswith(b"%PDF-")
    for path in ("/", "/runs", "/certificates", "/settings", "/begin", "/stations/bench-1"):
        assert browser.get(path).status_code == 200
