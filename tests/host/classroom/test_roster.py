import pytest

from host.classroom.roster import RosterError, held_against, new_password, rows_of
from host.people.account import Account
from host.people.role import Role

CLASS = "name,group\nBo Quill,2B\nCy Tansy,2B\n"


def taken(data: bytes) -> list[tuple[str, str]]:
    rows = rows_of(data)
    assert not [row.error for row in rows if row.error]
    return [(row.name, row.group) for row in rows]


@pytest.mark.parametrize(
    "data",
    [
        CLASS.encode(),
        ("\ufeff" + CLASS).encode(),  # as spreadsheets mark UTF-8
        CLASS.replace(",", ";").encode(),  # where the comma is the decimal sign
        CLASS.replace(",", "\t").replace("\n", "\r\n").encode(),
        b"group,NAME\n2B, Bo Quill \n\n2B,Cy Tansy",
        b"name,group,\nBo Quill,2B,,\nCy Tansy,2B,\n",
        b'"name","group"\n"Bo Quill","2B"\n"Cy Tansy","2B"\n',
    ],
)
def test_a_class_is_read_however_a_spreadsheet_writes_it(data):
    assert taken(data) == [("Bo Quill", "2B"), ("Cy Tansy", "2B")]


def test_names_keep_their_letters_and_a_group_may_be_missing():
    assert taken("name\nŽofie Ångström-Núñez\n".encode()) == [("Žofie Ångström-Núñez", "")]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"   \n", "empty"),
        ("name\nBjörn\n".encode("latin-1"), "Row 2 of the roster is not UTF-8"),
        ("name\nBo\n".encode("utf-16"), "UTF-8"),
        (b"Bo Quill,2B\nCy Tansy,2B\n", "name the columns"),
        (b"name,name\nBo,Bo\n", "name the columns"),
        (b"name,group\n", "no student below"),
        (b"Name;Gruppe\nBo Quill;2B\n", "names 'Gruppe' as well"),
        (b"name,group,e-mail\nBo Quill,2B,bo@example.org\n", "'e-mail'.*take any other out"),
        (b'name\n"Bo Quill\n', "quotes"),
        (b"name\n" + b"\n".join(b"Student %d" % n for n in range(501)), "500 students at most"),
    ],
)
def test_what_is_no_roster_is_refused_with_the_next_step(data, words):
    with pytest.raises(RosterError, match=words):
        rows_of(data)


def test_each_bad_row_has_its_own_words_and_the_good_ones_have_none():
    data = "name,group\nBo Quill,2B\n,2B\nbo  QUILL,2C\n" + "x" * 61 + ",2B\nCy Tansy,2B,late\nDee Rill,2B\n"
    rows = rows_of(data.encode())
    errors = {row.line: row.error for row in rows if row.error}
    assert set(errors) == {3, 4, 5, 6}
    assert "same name as in row 2" in errors[4] and "3 cells" in errors[6]


def test_a_name_of_somebody_with_another_role_is_refused_beside_its_row():
    somebody = {"number": 1, "disabled": False, "has_password": True, "added_utc_s": 0.0}
    accounts = [
        Account(name="Bo Quill", roles=frozenset({Role.TECHNICIAN, Role.STUDENT}), **somebody),
        Account(name="Cy Tansy", roles=frozenset({Role.STUDENT}), **somebody),
    ]
    bo, cy = held_against(rows_of(CLASS.encode()), accounts)
    assert "technician" in bo.error and cy.error == ""


def test_first_passwords_are_readable_long_enough_and_never_the_same():
    made = [new_password() for _ in range(200)]
    assert len(set(made)) == 200 and {len(one) for one in made} == {19}
    assert all(one.count("-") == 3 for one in made)
