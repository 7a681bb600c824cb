"""A class taken in from a file, and the first time that one of it signs in."""

import io
import json
import re

import pytest
from click.testing import CliRunner

from host.classroom.roster import RosterError
from host.classroom.roster_taking import MOST_SLIPS, take_roster
from host.commands.person import command
from host.people.role import Role
from host.web.live_stream import streams_of
from host.web.roster_pages import address_on_slips

pytestmark = pytest.mark.slow

CLASS = b"name,group\nBo Quill,2B\nCy Tansy,2B\n"


def take(reader, data: bytes = CLASS, **more: str):
    file = (io.BytesIO(data), "class.csv")
    return reader.post("/roster", data={"roster": file} | more, content_type="multipart/form-data")


def slips(page: str) -> dict[str, str]:
    return dict(re.findall(r"<li><b>([^<]+)</b>.*?<code>([^<]+)</code>", page, re.DOTALL))


def test_a_slip_says_where_to_sign_in_unless_that_opens_on_this_machine_alone(peopled):
    assert "<br>Sign in with this name" in take(peopled.sit_down(Role.INSTRUCTOR)).text
    assert address_on_slips("http://127.0.0.1:8350/") == address_on_slips("http://localhost/") == ""
    assert address_on_slips("https://desk.local/") == "https://desk.local/"


def test_a_class_gets_a_slip_each_which_opens_nothing_but_the_choice_of_a_password(peopled):
    instructor = peopled.sit_down(Role.INSTRUCTOR)
    page = take(instructor)
    assert page.status_code == 200
    given = slips(page.text)
    assert set(given) == {"Bo Quill", "Cy Tansy"}
    account = peopled.desk.store.people.named("bo quill")
    assert (account.roles, account.group, account.has_first_password) == ({Role.STUDENT}, "2B", True)
    assert not any(given["Bo Quill"] in entry.subject for entry in peopled.desk.store.audit.newest(9))

    student = peopled.somebody()
    assert peopled.sign_in(student, "Bo Quill", given["Bo Quill"]).status_code == 303
    for address in ("/", "/exercise", "/curves"):
        assert student.get(address).headers["Location"] == "/you"
    assert student.post("/exercise/1/begin").headers["Location"] == "/you"
    assert "came on a slip" in student.get("/you").text and student.get("/help").status_code == 200
    old, own = given["Bo Quill"], "kettle lamp river seven"
    same = student.post("/you/password", data={"old": old, "new": old, "again": old})
    assert same.status_code == 422 and "another than the one on the slip" in same.text
    page = student.get("/you").text
    assert "Password on the slip" in page and "Pin to" not in page  # the one thing there is to do
    chosen = student.post("/you/password", data={"old": old, "new": own, "again": own})
    assert (chosen.status_code, chosen.headers["Location"]) == (303, "/")
    assert "Pin to student" in student.get("/you").text
    assert student.get("/exercise").status_code == 200
    assert peopled.sign_in(peopled.somebody(), "Bo Quill", old).status_code == 422


def test_the_same_file_again_brings_groups_up_to_date_and_adds_nobody_twice(peopled):
    instructor = peopled.sit_down(Role.INSTRUCTOR)
    first = slips(take(instructor).text)
    people = peopled.desk.store.people
    again = take(instructor, CLASS.replace(b"2B", b"3B") + b"Dee Rill,3B\n")
    assert set(slips(again.text)) == {"Dee Rill"} and "2 already here" in again.text
    assert {people.named(name).group for name in ("Bo Quill", "Cy Tansy", "Dee Rill")} == {"3B"}
    assert peopled.sign_in(peopled.somebody(), "Cy Tansy", first["Cy Tansy"]).status_code == 303
    lost = slips(take(instructor, new_slips="yes").text)
    assert set(lost) == {"Bo Quill", "Cy Tansy"}
    assert peopled.sign_in(peopled.somebody(), "Cy Tansy", first["Cy Tansy"]).status_code == 422
    assert peopled.sign_in(peopled.somebody(), "Cy Tansy", lost["Cy Tansy"]).status_code == 303


def test_one_bad_row_and_nothing_is_taken_in(peopled):
    instructor = peopled.sit_down(Role.INSTRUCTOR)
    answer = take(instructor, CLASS + b",2B\nIda Marsh,2B\n")
    assert answer.status_code == 422 and "Nothing was taken in" in answer.text
    assert "Row 4" in answer.text and "authoriser here" in answer.text
    assert [one.name for one in peopled.desk.store.people.all()] == ["Ida Marsh", "Person instructor"]
    assert take(instructor, b"\xff\xfe").status_code == 422
    assert "Choose the file first" in instructor.post("/roster").text


def test_a_class_comes_in_by_command_too(peopled, quick_passwords, tmp_path, monkeypatch):
    monkeypatch.setattr("host.commands.person.Passwords", lambda: quick_passwords)
    file = tmp_path / "class.csv"
    file.write_bytes(CLASS)
    folder = str(peopled.desk.folder)
    made = CliRunner().invoke(command, ["roster", str(file), "--data", folder, "--json"])
    assert made.exit_code == 0, made.output
    printed = json.loads(made.stdout)
    assert [one["name"] for one in printed["slips"]] == ["Bo Quill", "Cy Tansy"]
    assert peopled.sign_in(peopled.somebody(), "Bo Quill", printed["slips"][0]["password"]).status_code == 303
    file.write_bytes(CLASS + b",\nBo Quill,2B\n")
    refused = CliRunner().invoke(command, ["roster", str(file), "--data", folder])
    assert refused.exit_code != 0 and "row 5 (Bo Quill): The same name" in refused.output


class NoticedPasswords:
    """Hashes, and something that happens while the second of them is made."""

    def __init__(self, passwords, on_second):
        self._passwords, self._on_second, self.made = passwords, on_second, 0

    def hashed(self, password: str, *, person: str) -> str:
        self.made += 1
        if self.made == 2:
            self._on_second()
        return self._passwords.hashed(password, person=person)


def class_of(students: int) -> bytes:
    return b"name,group\n" + b"".join(b"Student %d,2B\n" % number for number in range(students))


def test_a_desk_that_ends_does_not_wait_for_a_class_and_takes_none_of_it_in(peopled, quick_passwords):
    """TERM ends the pages by way of the same event, and their threads are waited for five seconds."""
    store = peopled.desk.store
    before = [one.name for one in store.people.all()]
    ending = streams_of(peopled.app).closing
    passwords = NoticedPasswords(quick_passwords, ending.set)
    with pytest.raises(RosterError, match="being ended, and nothing was taken in"):
        take_roster(store, class_of(30), passwords, is_ending=ending.is_set)
    assert passwords.made == 2 and [one.name for one in store.people.all()] == before


def test_the_page_says_that_a_desk_is_being_ended(peopled):
    instructor = peopled.sit_down(Role.INSTRUCTOR)
    streams_of(peopled.app).closing.set()
    answer = take(instructor)
    assert answer.status_code == 422 and "send the file once more" in answer.text
    assert peopled.desk.store.people.with_password("Bo Quill") is None


def test_more_slips_than_one_person_waits_for_are_refused_and_known_students_cost_none(peopled):
    instructor = peopled.sit_down(Role.INSTRUCTOR)
    answer = take(instructor, class_of(MOST_SLIPS + 1))
    assert answer.status_code == 422 and "wants 61 new slips, and 60 are made at a time" in answer.text
    assert len(slips(take(instructor, class_of(MOST_SLIPS)).text)) == MOST_SLIPS
    assert len(slips(take(instructor, class_of(MOST_SLIPS + 20)).text)) == 20
