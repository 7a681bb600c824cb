import pytest

from host.people.role import ALL_ROLES
from host.web.app import create_app
from host.web.reach import Reach

pytestmark = pytest.mark.slow


@pytest.fixture
def run(desk, bench):
    return desk.runs.start_sender_check(
        station="bench-1", item="Sender", curve="ntc-310-80c", set_points_c=(30.0, 60.0, 85.0)
    )


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://elsewhere.example"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site", "Origin": "http://localhost"},
    ],
)
def test_a_page_of_another_site_cannot_press_a_button(browser, desk, run, headers):
    answer = browser.post("/runs/1/press", headers=headers)
    assert answer.status_code == 403
    assert "another site" in answer.text
    assert desk.runs.view(1).card.step == 1


@pytest.mark.parametrize(
    "headers",
    [{}, {"Origin": "http://localhost"}, {"Sec-Fetch-Site": "same-origin", "Origin": "http://localhost"}],
)
def test_the_desks_own_page_can_press_it(browser, desk, run, headers):
    assert browser.post("/runs/1/press", headers=headers).status_code == 303
    assert desk.runs.view(1).card.step == 2


@pytest.mark.parametrize(
    ("host", "taken"),
    [
        ("127.0.0.1:8000", True),
        ("[::1]:8000", True),
        ("localhost", True),
        ("192.168.1.20:8000", False),
        ("desk.shop.example", False),
        ("elsewhere.example", False),
    ],
)
def test_a_desk_without_accounts_answers_on_its_own_machine_alone(browser, bench, host, taken):
    answer = browser.get("/", headers={"Host": host})
    assert answer.status_code == (200 if taken else 403)


@pytest.mark.parametrize(
    ("host", "taken"),
    [
        ("127.0.0.1:8000", True),
        ("192.168.1.20:8000", True),
        ("[2001:db8::20]:8000", True),
        ("desk.shop.example", True),
        ("desk.shop.example:8443", True),
        ("elsewhere.example", False),
    ],
)
def test_another_name_that_leads_here_is_not_this_desk(desk, bench, host, taken):
    desk.store.people.add("Ida Marsh", ALL_ROLES)
    reach = Reach(listen="0.0.0.0", names=frozenset({"desk.shop.example"}))
    answer = create_app(desk, reach=reach).test_client().get("/sign-in", headers={"Host": host})
    assert answer.status_code == (200 if taken else 403)


def test_a_desk_reached_from_elsewhere_shows_nothing_before_it_has_accounts(desk, bench):
    for reach in (Reach(listen="0.0.0.0"), Reach(behind_proxy=True)):
        answer = create_app(desk, reach=reach).test_client().get("/", headers={"Host": "127.0.0.1"})
        assert answer.status_code == 403
        assert "ohmbath person add" in answer.text


def test_every_page_forbids_what_does_not_come_from_the_desk(finished_desk):
    browser = create_app(finished_desk).test_client()
    for path in ("/", "/stations/bench-1", "/runs", "/runs/1", "/certificates", "/nowhere"):
        answer = browser.get(path)
        policy = answer.headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert "<style" not in answer.text and " style=" not in answer.text
        assert "<script>" not in answer.text and "javascript:" not in answer.text


def test_an_unknown_address_is_answered_in_plain_words(browser):
    answer = browser.get("/nowhere/at/all")
    assert answer.status_code == 404
    assert "There is no such page here." in answer.text


def test_a_form_too_large_to_be_typed_is_refused(browser, bench):
    answer = browser.post("/stations/bench-1/sender-check", data={"item": "x" * 100_000})
    assert answer.status_code == 413


def test_a_fault_of_the_program_is_a_page_in_words(desk, bench, monkeypatch):
    app = create_app(desk)
    app.config["PROPAGATE_EXCEPTIONS"] = False

    def broken(station):
        raise RuntimeError("broken on purpose")

    monkeypatch.setattr(desk.live, "station", broken)
    answer = app.test_client().get("/stations/bench-1")
    assert answer.status_code == 500
    assert "A fault of the program" in answer.text
    assert "broken on purpose" not in answer.text
