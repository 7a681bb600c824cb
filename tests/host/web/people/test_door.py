import re

import pytest

from host.people.role import Role
from host.people.session import IDLE_S, LONGEST_S
from host.web.app import create_app
from host.web.form_key import FIELD
from host.web.reach import Reach
from host.web.rules import rule_of
from host.web.visit import COOKIE

pytestmark = pytest.mark.slow

A_PAGE = {"Accept": "text/html,application/xhtml+xml"}
VALUES = {"run": 1, "station": "bench-1", "number": "000001", "filename": "ohmbath.css", "form": "csv"}


def addresses(app):
    """Every address there is, with its method and its rule."""
    for route in app.url_map.iter_rules():
        with app.test_request_context():
            given = {name: VALUES.get(name, "1") for name in route.arguments}
            address = app.url_for(route.endpoint, **given)
        for method in sorted(route.methods & {"GET", "POST"}):
            yield method, address, rule_of(app, route.endpoint)


def ask(reader, method, address, **options):
    answer = reader.open(address, method=method, buffered=False, **options)
    answer.close()
    return answer


@pytest.mark.parametrize("role", list(Role))
def test_every_address_lets_in_whom_its_rule_names_and_nobody_else(peopled, role):
    reader = peopled.sit_down(role)
    refused = 0
    for method, address, rule in addresses(peopled.app):
        if address == "/sign-out":
            continue
        lets_in = rule.is_open or role in rule.roles
        # Posted without the key of a page, what is let in stops there and does nothing.
        answer = ask(reader, method, address)
        words = answer.text if method == "POST" or answer.status_code == 403 else ""
        if not lets_in:
            refused += 1
            assert answer.status_code == 403, (method, address)
            assert "This is not for your role" in words, (method, address)
        elif method == "POST":
            assert answer.status_code == 403 and "load the page anew" in words, (method, address)
        else:
            assert answer.status_code not in (401, 403), (method, address)
    assert refused > 0 or role is not Role.STUDENT


def test_who_is_not_signed_in_gets_nowhere_but_to_what_is_open(peopled):
    for method, address, rule in addresses(peopled.app):
        answer = ask(peopled.somebody(), method, address)
        if rule.is_open:
            assert answer.status_code not in (401,), (method, address)
        else:
            assert answer.status_code == 401, (method, address)
            assert "bench-1" not in answer.text


def test_a_demo_takes_who_sits_at_its_machine_for_one_person_with_that_persons_roles_alone(peopled):
    peopled.add("Orla Tench", Role.TECHNICIAN)
    app = create_app(peopled.desk, takes_all_for="Orla Tench")
    reader = app.test_client()
    page = reader.get("/runs")
    assert page.status_code == 200 and "takes you for one of its people" in page.text
    assert "Orla Tench" in page.text and "Sign out" not in page.text
    assert reader.get("/drafts").status_code == 403  # an authoriser's
    assert reader.open("/stations/bench-1/sender-check", method="POST").status_code == 403  # without a key
    other_name = reader.get("/runs", base_url="http://desk.elsewhere.example")
    assert other_name.status_code == 403 and "Orla Tench" not in other_name.text


def test_a_desk_that_other_machines_reach_takes_nobody_for_somebody(peopled):
    with pytest.raises(ValueError, match="asks everybody"):
        create_app(peopled.desk, reach=Reach(listen="0.0.0.0"), takes_all_for="Ida Marsh")


def test_a_page_that_is_opened_leads_to_signing_in_and_back(peopled):
    reader = peopled.somebody()
    answer = reader.get("/runs?scale=f", headers=A_PAGE)
    assert (answer.status_code, answer.location) == (303, "/sign-in?next=%2Fruns%3Fscale%3Df")
    page = reader.get(answer.location).text
    assert 'name="next" value="/runs?scale=f"' in page
    signed_in = peopled.sign_in(reader, "Ida Marsh", next="/runs?scale=f")
    assert (signed_in.status_code, signed_in.location) == (303, "/runs?scale=f")
    assert reader.get("/runs").status_code == 200


@pytest.mark.parametrize(
    "wanted",
    [
        "https://elsewhere.example/", "//elsewhere.example/", "/\\elsewhere.example", "\\\\elsewhere.example",
        "javascript:alert(1)", "elsewhere.example", "/\t/elsewhere.example", "///elsewhere.example", "",
        "/" + "a" * 600,
    ],
)  # fmt: skip
def test_signing_in_leads_nobody_to_another_site(peopled, wanted):
    answer = peopled.sign_in(peopled.somebody(), "Ida Marsh", next=wanted)
    assert (answer.status_code, answer.location) == (303, "/")


def test_a_wrong_password_is_said_beside_the_field_and_the_name_stays(peopled):
    reader = peopled.somebody()
    answer = peopled.sign_in(reader, "Ida Marsh", "not hers at all", next="/runs")
    assert answer.status_code == 422
    assert re.search(r'id="password-wrong">This name and this password do not belong', answer.text)
    assert 'value="Ida Marsh"' in answer.text and 'value="/runs"' in answer.text
    assert "not hers at all" not in answer.text
    assert reader.get("/").status_code == 401


def test_an_unknown_name_hears_the_same_words_as_a_wrong_password(peopled):
    known = peopled.sign_in(peopled.somebody(), "Ida Marsh", "not hers at all")
    unknown = peopled.sign_in(peopled.somebody(), "Idunn Moor", "not hers at all")
    said = [re.search(r'id="password-wrong">([^<]*)<', answer.text)[1] for answer in (known, unknown)]
    assert said[0] == said[1]
    assert known.status_code == unknown.status_code


def test_the_name_is_taken_however_it_is_spelled(peopled):
    assert peopled.sign_in(peopled.somebody(), "  ida  MARSH ").status_code == 303


def test_signing_in_takes_a_fresh_token(peopled):
    reader = peopled.somebody()
    reader.get("/sign-in")
    before = reader.get_cookie(COOKIE).value
    peopled.sign_in(reader, "Ida Marsh")
    after = reader.get_cookie(COOKIE).value
    assert after != before
    planted = peopled.somebody()
    planted.set_cookie(COOKIE, before)
    assert planted.get("/").status_code == 401


def test_the_store_keeps_no_token_that_signs_anybody_in(peopled):
    reader = peopled.sit_down(Role.AUTHORISER, name="Ida Marsh")
    token = reader.get_cookie(COOKIE).value.encode()
    for path in (peopled.desk.folder).rglob("*"):
        if path.is_file():
            assert token not in path.read_bytes(), path


def test_signing_out_ends_the_session_for_every_copy_of_its_token(peopled):
    reader = peopled.sit_down(Role.AUTHORISER, name="Ida Marsh")
    token = reader.get_cookie(COOKIE).value
    assert reader.post("/sign-out").location == "/sign-in"
    assert reader.get("/").status_code == 401
    reader.set_cookie(COOKIE, token)
    assert reader.get("/").status_code == 401


def test_a_screen_at_which_nobody_opens_a_page_is_signed_out(peopled):
    reader = peopled.sit_down(Role.AUTHORISER, name="Ida Marsh")
    peopled.clock.utc_s += IDLE_S - 1.0
    assert reader.get("/", headers=A_PAGE).status_code == 200
    peopled.clock.utc_s += IDLE_S - 1.0
    assert reader.get("/").status_code == 200, "a page that asks by itself is answered"
    peopled.clock.utc_s += 2.0
    assert reader.get("/").status_code == 401, "but keeps nobody signed in"


def test_everybody_signs_in_again_after_a_week(peopled):
    reader = peopled.sit_down(Role.AUTHORISER, name="Ida Marsh")
    begun_s = peopled.clock.utc_s
    while peopled.clock.utc_s + IDLE_S / 2.0 < begun_s + LONGEST_S:
        peopled.clock.utc_s += IDLE_S / 2.0
        assert reader.get("/", headers=A_PAGE).status_code == 200
    peopled.clock.utc_s = begun_s + LONGEST_S
    assert reader.get("/", headers=A_PAGE).status_code == 303


def test_guessing_is_slowed_and_the_right_password_waits_too(peopled):
    reader = peopled.somebody()
    for _ in range(4):
        assert "Try again in" not in peopled.sign_in(reader, "Ida Marsh", "guess by guess").text
    assert "Try again in 30 s" in peopled.sign_in(reader, "Ida Marsh", "guess by guess").text
    waiting = peopled.sign_in(reader, "Ida Marsh")
    assert waiting.status_code == 422 and "too many wrong passwords for this name" in waiting.text
    peopled.clock.utc_s += 31.0
    assert peopled.sign_in(reader, "Ida Marsh").status_code == 303


def test_a_name_that_nobody_has_is_slowed_alike(peopled):
    for _ in range(5):
        answer = peopled.sign_in(peopled.somebody(), "Idunn Moor", "guess by guess")
    assert "Try again in 30 s" in answer.text


def test_an_address_that_tries_many_names_is_slowed(peopled):
    for number in range(20):
        answer = peopled.sign_in(peopled.somebody(), f"Name {number}", "guess by guess")
    assert "wrong passwords from this address" in answer.text
    assert "from this address" in peopled.sign_in(peopled.somebody(), "Ida Marsh").text


def test_a_disabled_account_is_out_at_once_and_stays_out(peopled):
    peopled.add("Bo Quill", Role.INSTRUCTOR)
    reader = peopled.sit_down(Role.INSTRUCTOR, name="Bo Quill")
    number = peopled.desk.store.people.named("Bo Quill").number
    peopled.desk.store.people.set_disabled(number, True)
    assert reader.get("/").status_code == 401
    assert peopled.sign_in(peopled.somebody(), "Bo Quill").status_code == 422
    peopled.desk.store.people.set_disabled(number, False)
    assert reader.get("/").status_code == 401, "the session of before does not come back"
    assert peopled.sign_in(peopled.somebody(), "Bo Quill").status_code == 303


def test_a_role_that_is_taken_away_is_gone_with_the_next_page(peopled):
    reader = peopled.sit_down(Role.TECHNICIAN, name="Bo Quill")
    assert reader.get("/certificates").status_code == 200
    number = peopled.desk.store.people.named("Bo Quill").number
    peopled.desk.store.people.set_roles(number, frozenset({Role.STUDENT}))
    assert reader.get("/certificates").status_code == 403


def test_a_student_neither_sees_certificates_nor_a_way_to_them(peopled):
    student = peopled.sit_down(Role.STUDENT)
    assert student.get("/").headers["Location"] == "/exercise"
    assert 'href="/certificates"' not in student.get("/exercise").text
    answer = student.get("/certificates")
    assert answer.status_code == 403
    assert "It takes technician or authoriser or instructor. You are student here." in answer.text
    assert "Ida Marsh (authoriser)" in answer.text
    technician = peopled.sit_down(Role.TECHNICIAN)
    assert 'href="/certificates"' in technician.get("/").text


def test_a_student_opens_neither_runs_nor_stations_nor_certificates(peopled_result):
    """What was planted would show there; a student's own pages are made from a view that cannot know it."""
    student = peopled_result.sit_down(Role.STUDENT)
    page = peopled_result.sit_down(Role.TECHNICIAN).get("/runs/1").text
    number = re.search(r"/certificates/(\w+)\.pdf", page)[1]
    papers = [f"/certificates/{number}.{kind}" for kind in ("pdf", "json")]
    for address in ("/runs", "/runs/1", "/stations/bench-1", "/stations/bench-1/live", "/live", *papers):
        answer = student.get(address)
        assert answer.status_code == 403 and "This is not for your role" in answer.text
        assert number not in answer.text


def test_every_page_says_who_is_signed_in_and_how_to_sign_out(peopled):
    page = peopled.sit_down(Role.AUTHORISER, name="Ida Marsh").get("/runs").text
    assert "Ida Marsh" in page and 'action="/sign-out"' in page


def test_a_pinned_screen_does_no_more_than_its_role_until_the_password_unpins_it(peopled):
    reader = peopled.sit_down(Role.TECHNICIAN, Role.STUDENT, name="Bo Quill")
    assert reader.post("/you/pin", data={"role": "student"}).status_code == 303
    answer = reader.get("/certificates")
    assert answer.status_code == 403 and "this screen is pinned to student" in answer.text
    assert reader.post("/you/unpin", data={"password": "guess by guess"}).status_code == 422
    assert reader.get("/certificates").status_code == 403
    assert reader.post("/you/unpin", data={"password": peopled.password}).status_code == 303
    assert reader.get("/certificates").status_code == 200


def test_a_screen_is_pinned_to_no_role_that_its_person_lacks(peopled):
    reader = peopled.sit_down(Role.STUDENT, name="Bo Quill")
    for wanted in ("technician", "owner", ""):
        assert reader.post("/you/pin", data={"role": wanted}).status_code == 422
    assert reader.get("/certificates").status_code == 403


def test_a_pinned_screen_cannot_be_pinned_wider(peopled):
    reader = peopled.sit_down(Role.TECHNICIAN, Role.STUDENT, name="Bo Quill")
    reader.post("/you/pin", data={"role": "student"})
    assert reader.post("/you/pin", data={"role": "technician"}).status_code == 422
    assert reader.get("/certificates").status_code == 403


def test_another_password_signs_out_every_other_screen(peopled):
    here, there = (peopled.sit_down(Role.AUTHORISER, name="Ida Marsh") for _ in range(2))
    new = "six wet copper washers"
    typed = {"old": peopled.password, "new": new, "again": new}
    for wrong, beside in (
        ({"again": "other"}, "again"),
        ({"old": "no such one"}, "old"),
        ({"new": "short", "again": "short"}, "new"),
    ):
        answer = here.post("/you/password", data=typed | wrong)
        assert answer.status_code == 422 and f'id="{beside}-wrong"' in answer.text
    assert here.post("/you/password", data=typed).status_code == 303
    assert here.get("/").status_code == 200
    assert there.get("/").status_code == 401
    assert peopled.sign_in(there, "Ida Marsh").status_code == 422
    assert peopled.sign_in(there, "Ida Marsh", new).status_code == 303


def test_a_desk_without_accounts_is_open_and_says_so_once(browser, bench):
    assert "Nobody has an account here" in browser.get("/").text
    assert "Nobody has an account here" not in browser.get("/runs").text
    assert "ohmbath person add" in browser.get("/sign-in").text
    assert browser.get("/certificates").status_code == 200


def test_the_first_account_closes_an_open_desk_at_once(browser, desk, bench):
    assert browser.get("/").status_code == 200
    desk.store.people.add("Ida Marsh", frozenset({Role.AUTHORISER}))
    assert browser.get("/").status_code == 401
    assert browser.post("/stations/bench-1/sender-check").status_code == 401


def test_a_form_of_before_signing_in_is_not_taken_afterwards(peopled):
    reader = peopled.somebody()
    key = re.search(rf'name="{FIELD}" value="([0-9a-f]*)"', reader.get("/sign-in").text)[1]
    peopled.sign_in(reader, "Ida Marsh")
    answer = reader.post("/stations/bench-1/sender-check", data={FIELD: key}, from_a_page=False)
    assert answer.status_code == 403 and "load the page anew" in answer.text


def test_the_wall_opens_for_who_runs_the_room_and_not_for_students(peopled):
    for role in (Role.INSTRUCTOR, Role.TECHNICIAN, Role.AUTHORISER):
        assert peopled.sit_down(role).get("/wall").status_code == 200
    student = peopled.sit_down(Role.STUDENT)
    for address in ("/wall", "/wall/live"):
        assert student.get(address).status_code == 403
    assert "/wall" not in student.get("/").text
