import re
from pathlib import Path

import pytest

import host.web
from host.web.app import create_app
from host.web.form_key import FIELD
from host.web.visit import COOKIE

pytestmark = pytest.mark.slow

TEMPLATES = sorted((Path(host.web.__file__).parent / "templates").glob("**/*.html"))
FORM = re.compile(r"<form\b(?P<tag>[^>]*)>(?P<inside>.*?)</form>", re.DOTALL)
KEY = re.compile(rf'name="{FIELD}" value="([0-9a-f]{{64}})"')


@pytest.fixture
def run(desk, bench):
    return desk.runs.start_sender_check(
        station="bench-1", item="Sender", curve="ntc-310-80c", set_points_c=(30.0, 60.0, 85.0)
    )


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda path: path.name)
def test_every_form_that_changes_something_carries_its_key(template):
    text = template.read_text("utf-8")
    assert text.count("<form") == len(FORM.findall(text))
    for form in FORM.finditer(text):
        if 'method="post"' in form["tag"]:
            assert "{{ form_key() }}" in form["inside"], form[0][:200]
        else:
            assert 'method="get"' in form["tag"], "a form says whether it changes anything"


def test_there_are_forms_to_look_at():
    assert sum('method="post"' in path.read_text("utf-8") for path in TEMPLATES) >= 3


def posting_addresses(app):
    values = {"run": 1, "station": "bench-1"}
    for rule in app.url_map.iter_rules():
        if "POST" in rule.methods:
            given = {name: values.get(name, 1) for name in rule.arguments}
            with app.test_request_context():
                yield rule.endpoint, app.url_for(rule.endpoint, **given)


def test_no_address_takes_a_post_without_the_key_of_a_page(desk, run):
    app = create_app(desk)
    asked = list(posting_addresses(app))
    assert ("runs.press", "/runs/1/press") in asked
    for endpoint, address in asked:
        answer = app.test_client().post(address, from_a_page=False)
        assert answer.status_code in (401, 403), endpoint
    assert desk.runs.view(1).card.step == 1


def test_the_key_on_the_page_is_the_one_that_is_taken(desk, run):
    browser = create_app(desk).test_client()
    key = KEY.search(browser.get("/runs/1").text)[1]
    assert browser.post("/runs/1/press", data={FIELD: key}, from_a_page=False).status_code == 303
    assert desk.runs.view(1).card.step == 2


def test_the_key_of_another_browser_is_refused(desk, run):
    app = create_app(desk)
    key = KEY.search(app.test_client().get("/runs/1").text)[1]
    other = app.test_client()
    other.get("/runs/1")
    answer = other.post("/runs/1/press", data={FIELD: key}, from_a_page=False)
    assert answer.status_code == 403
    assert "load the page anew" in answer.text
    assert desk.runs.view(1).card.step == 1


def test_a_key_without_the_cookie_is_worth_nothing(desk, run):
    app = create_app(desk)
    key = KEY.search(app.test_client().get("/runs/1").text)[1]
    assert app.test_client().post("/runs/1/press", data={FIELD: key}, from_a_page=False).status_code == 403


def test_a_page_that_stays_open_while_the_desk_starts_again_can_still_be_sent(desk, run):
    before = create_app(desk).test_client()
    key = KEY.search(before.get("/runs/1").text)[1]
    after = create_app(desk).test_client()
    after.set_cookie(COOKIE, before.get_cookie(COOKIE).value)
    assert after.post("/runs/1/press", data={FIELD: key}, from_a_page=False).status_code == 303


def test_script_cannot_read_the_cookie_and_other_sites_cannot_send_it_along(desk, run):
    answer = create_app(desk).test_client().get("/runs/1")
    cookie = next(one for one in answer.headers.getlist("Set-Cookie") if one.startswith(COOKIE))
    assert "HttpOnly" in cookie and "SameSite=Lax" in cookie
