"""Keeping the people on the pages, and what is written down of everybody."""

import re

import pytest

from host.people.role import Role
from host.web.deeds import DEED_OF, LEAVES_NOTHING, WRITES_ITS_OWN

pytestmark = pytest.mark.slow

PASSWORD = "nine dull copper gaskets"


def number_of(peopled, name):
    return peopled.desk.store.people.named(name).number


def add(keeper, name="Bo Teller", roles=("technician",), password=PASSWORD):
    return keeper.post("/people", data={"name": name, "role": list(roles), "password": password})


def test_every_press_is_a_line_in_the_list_or_writes_its_own(browser):
    routes = browser.application.url_map.iter_rules()
    presses = {route.endpoint for route in routes if "POST" in (route.methods or ())}
    assert presses == set(DEED_OF) | WRITES_ITS_OWN | LEAVES_NOTHING


def test_a_person_added_on_the_page_can_sign_in_and_only_as_what_they_are(peopled):
    keeper = peopled.sit_down(Role.INSTRUCTOR)
    assert add(keeper, roles=("student",)).status_code == 303
    reader = peopled.somebody()
    assert peopled.sign_in(reader, "Bo Teller", PASSWORD).status_code == 303
    assert reader.get("/certificates").status_code == 403
    assert reader.get("/people").status_code == 403
    assert reader.get("/exercise").status_code == 200


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"name": ""}, "name"),
        ({"password": "short"}, "characters"),
        ({"roles": ()}, "one role"),
        ({"name": "ida marsh"}, "Ida Marsh"),
    ],
)
def test_a_person_who_cannot_be_added_is_refused_beside_the_field(peopled, fields, words):
    keeper = peopled.sit_down(Role.INSTRUCTOR)
    before = peopled.desk.store.people.all()
    answer = add(keeper, **fields)
    assert answer.status_code == 422
    assert words in re.sub(r"<[^>]+>", " ", answer.text)
    assert peopled.desk.store.people.all() == before
    assert PASSWORD not in answer.text


def test_a_disabled_person_is_out_at_once_and_may_come_back(peopled):
    keeper = peopled.sit_down(Role.INSTRUCTOR)
    reader = peopled.sit_down(Role.TECHNICIAN, name="Bo Teller")
    able = f"/people/{number_of(peopled, 'Bo Teller')}/able"
    assert keeper.post(able, data={"disabled": "yes"}).status_code == 303
    assert reader.get("/runs").status_code == 401
    assert keeper.post(able, data={"disabled": "no"}).status_code == 303
    assert peopled.sign_in(reader, "Bo Teller").status_code == 303


def test_a_new_password_from_a_keeper_ends_the_old_one(peopled):
    keeper = peopled.sit_down(Role.INSTRUCTOR)
    peopled.add("Bo Teller", Role.TECHNICIAN)
    answer = keeper.post(f"/people/{number_of(peopled, 'Bo Teller')}/password", data={"password": PASSWORD})
    assert answer.status_code == 303
    short = keeper.post(f"/people/{number_of(peopled, 'Bo Teller')}/password", data={"password": "short"})
    assert short.status_code == 422
    beside = re.search(rf'id="password-{number_of(peopled, "Bo Teller")}-wrong">([^<]*)<', short.text)[1]
    assert "characters" in beside and short.text.count("<details open>") == 1
    assert peopled.sign_in(peopled.somebody(), "Bo Teller").status_code == 422
    assert peopled.sign_in(peopled.somebody(), "Bo Teller", PASSWORD).status_code == 303


def test_the_last_one_who_keeps_the_people_stays(peopled):
    keeper = peopled.somebody()
    peopled.sign_in(keeper, "Ida Marsh")
    roles = f"/people/{number_of(peopled, 'Ida Marsh')}/roles"
    answer = keeper.post(roles, data={"role": ["student"]})
    assert answer.status_code == 422
    assert answer.text.count("<details open>") == 1 and 'class="error" role="alert"' in answer.text
    assert Role.AUTHORISER in peopled.desk.store.people.named("Ida Marsh").roles


def test_at_an_open_desk_nobody_is_added_on_the_page(browser, desk):
    assert "ohmbath person add" in browser.get("/people").text
    assert add(browser).status_code == 409
    assert not desk.store.people.any()


def test_what_people_do_stands_in_the_list_under_their_name(peopled):
    reader = peopled.sit_down(Role.TECHNICIAN, name="Bo Teller")
    form = {"item": "Sender", "curve": "ntc-310-80c", "set_points": "30 60 85", "rule": "guarded"}
    assert reader.post("/on-the-vehicle", data={"item": "the van", "curve": "ntc-2k5-20c"}).status_code == 303
    assert reader.post("/stations/bench-1/sender-check", data=form | {"item": ""}).status_code == 422
    keeper = peopled.sit_down(Role.AUTHORISER)
    page = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", keeper.get("/audit").text))
    assert "Bo Teller started a run: /on-the-vehicle/1" in page
    assert page.count("started a run") == 1  # what was refused was not done
    assert peopled.password not in page
    assert reader.get("/audit").status_code == 403


def test_the_list_is_read_page_by_page(peopled):
    keeper = peopled.sit_down(Role.INSTRUCTOR)
    for _ in range(105):
        keeper.post("/settings", data={"shop_name": "Heron"})
    first, second = keeper.get("/audit").text, keeper.get("/audit?after=100").text
    assert 'href="/audit?after=100"' in first
    assert first.count("changed the settings") + second.count("changed the settings") == 105


def test_who_is_signed_in_signs_for_what_is_measured_whatever_is_typed(peopled):
    reader = peopled.sit_down(Role.TECHNICIAN, name="Bo Teller")
    reader.post(
        "/on-the-vehicle", data={"item": "the van", "curve": "ntc-2k5-20c", "operator": "Somebody Else"}
    )
    assert peopled.desk.store.runs.get(1).settings["operator"] == "Bo Teller"
    page = reader.get("/stations/bench-1").text
    assert "Bo Teller, as you are signed in" in page and 'name="operator"' not in page


def test_who_is_signed_in_stands_beside_a_mark_and_a_curve(peopled):
    reader = peopled.sit_down(Role.TECHNICIAN, name="Bo Teller")
    store = peopled.desk.store
    probe = next(one for one in store.register.standings() if one.kind.value == "probe")
    marked = reader.post(
        f"/register/{probe.number}/mark", data={"mark": "retired", "reason": "Its lead is cut."}
    )
    assert marked.status_code == 303
    assert "retired by Bo Teller" in reader.get(marked.location).text
    form = {
        "name": "grey-van",
        "title": "Grey van",
        "source": "Invented, page 1",
        "table": "0 6000\n40 1200\n90 250",
    }
    added = reader.post("/curves/add", data=form)
    assert added.status_code == 303
    assert store.curves.get("grey-van").added_by == "Bo Teller"
    assert "Bo Teller" in re.search(r"added by</dt><dd>([^<]*)<", reader.get(added.location).text)[1]
    deeds = [(entry.person, entry.deed) for entry in store.audit.newest(2)]
    assert deeds == [("Bo Teller", "added a curve"), ("Bo Teller", "changed the register")]


def test_more_rows_to_type_into_are_no_run(peopled):
    reader = peopled.sit_down(Role.TECHNICIAN, name="Bo Teller")
    before = peopled.desk.store.audit.count()
    assert reader.post("/typed", data={"more": "more"}).status_code == 200
    assert peopled.desk.store.audit.count() == before


def test_guesses_and_the_wait_they_earn_are_in_the_list(peopled):
    for _ in range(5):
        peopled.sign_in(peopled.somebody(), "Ida Marsh", "guess by guess")
    peopled.sign_in(peopled.somebody(), "guessed into the wrong field", "x")
    page = re.sub(r"<[^>]+>", "", peopled.sit_down(Role.INSTRUCTOR).get("/audit").text)
    assert page.count("Somebody not signed in gave a wrong password: for Ida Marsh, from 127.0.0.1") == 5
    assert page.count("Somebody not signed in has to wait after wrong passwords: for Ida Marsh") == 1
    assert page.count("gave a wrong password: for an unknown name") == 1
    assert "guess" not in page
    written = {entry.person for entry in peopled.desk.store.audit.newest(100)}
    assert "Ida Marsh" not in written, "who types a name is not yet its person"


@pytest.mark.parametrize("after", ["-5", "7000", "9" * 30, "x"])
def test_a_page_of_the_list_that_is_not_there_is_no_fault(peopled, after):
    assert peopled.sit_down(Role.INSTRUCTOR).get(f"/audit?after={after}").status_code == 200
