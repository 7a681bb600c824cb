import json

import pytest
from argon2 import PasswordHasher
from click.testing import CliRunner

import host.commands.person as person_command
from host.cli import main
from host.people.password import Passwords
from host.store import open_store

pytestmark = pytest.mark.slow

GOOD = "four dry brass terminals"


@pytest.fixture
def ohmbath(store_folder, monkeypatch):
    quick = Passwords(PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
    monkeypatch.setattr(person_command, "Passwords", lambda: quick)

    def run(*words: str, typed: str = ""):
        return CliRunner().invoke(main, ["person", *words, "--data", str(store_folder.path)], input=typed)

    return run


@pytest.fixture
def store(store_folder):
    opened = open_store(store_folder)
    yield opened
    opened.close()


def test_the_password_is_asked_for_twice_and_never_echoed(ohmbath):
    added = ohmbath("add", "Ida Marsh", "--role", "authoriser", typed=f"{GOOD}\n{GOOD}\n")
    assert added.exit_code == 0, added.output
    assert "Ida Marsh may sign in as authoriser." in added.output
    assert "From now on the pages of this desk ask who is there." in added.output
    assert GOOD not in added.output


def test_two_passwords_that_differ_add_nobody(ohmbath, store):
    refused = ohmbath("add", "Ida Marsh", "--role", "authoriser", typed=f"{GOOD}\nsomething else\n")
    assert refused.exit_code != 0
    assert not store.people.any()


@pytest.mark.parametrize(
    ("password", "words"),
    [
        ("short", "10 characters or more"),
        ("", "10 characters or more"),
        ("aaaaaaaaaaaa", "try this password first"),
        ("password1234", "try this password first"),
        ("idunn  MARSH", "try this password first"),
        ("x y" * 100, "200 characters at most"),
    ],
)
def test_a_password_that_anybody_would_guess_is_refused_in_one_line(ohmbath, store, password, words):
    refused = ohmbath("add", "Idunn Marsh", "--role", "student", "--password-stdin", typed=password + "\n")
    assert refused.exit_code == 2
    assert words in refused.stderr and refused.stderr.count("\n") == 1
    assert not store.people.any()


def test_a_script_gives_the_password_in_a_file(ohmbath, store, tmp_path):
    path = tmp_path / "password"
    path.write_text(GOOD + "\nsecond line\n", "utf-8")
    added = ohmbath(
        "add", "Ida Marsh", "--role", "technician", "--role", "authoriser", "--password-file", str(path)
    )
    assert added.exit_code == 0, added.output
    _, kept = store.people.with_password("ida marsh")
    assert kept.startswith("$argon2id$")
    assert Passwords().matches(kept, GOOD)


def test_one_name_is_one_person_however_it_is_spelled(ohmbath):
    ohmbath("add", "Ida Marsh", "--role", "authoriser", "--password-stdin", typed=GOOD + "\n")
    again = ohmbath("add", "IDA  marsh", "--role", "student", "--password-stdin", typed=GOOD + "\n")
    assert again.exit_code == 2
    assert "already" in again.stderr


@pytest.mark.parametrize("name", ["", "   ", "传感器", "x" * 61])
def test_a_name_that_cannot_stand_on_a_certificate_is_refused(ohmbath, store, name):
    refused = ohmbath("add", name, "--role", "student", "--password-stdin", typed=GOOD + "\n")
    assert refused.exit_code == 2
    assert not store.people.any()


def test_a_person_has_a_role_and_one_that_exists(ohmbath):
    for words in ((), ("--role", "owner")):
        refused = ohmbath("add", "Ida Marsh", *words, "--password-stdin", typed=GOOD + "\n")
        assert refused.exit_code == 2


def test_roles_are_given_anew_and_the_list_says_so(ohmbath):
    ohmbath("add", "Ida Marsh", "--role", "authoriser", "--password-stdin", typed=GOOD + "\n")
    ohmbath("add", "Bo Quill", "--role", "student", "--password-stdin", typed=GOOD + "\n")
    assert ohmbath("role", "bo quill", "--role", "technician", "--role", "instructor").exit_code == 0
    assert ohmbath("disable", "Ida Marsh").exit_code == 0
    listed = json.loads(ohmbath("list", "--json").output)["people"]
    assert listed == [
        {"name": "Bo Quill", "roles": ["technician", "instructor"], "disabled": False, "has_password": True},
        {"name": "Ida Marsh", "roles": ["authoriser"], "disabled": True, "has_password": True},
    ]
    assert "disabled" in ohmbath("list").output


def test_somebody_stays_who_may_add_people(ohmbath):
    ohmbath("add", "Ida Marsh", "--role", "authoriser", "--password-stdin", typed=GOOD + "\n")
    for words in (("disable", "Ida Marsh"), ("role", "Ida Marsh", "--role", "technician")):
        refused = ohmbath(*words)
        assert refused.exit_code == 2
        assert "another authoriser or instructor first" in refused.stderr


def test_a_new_password_ends_sessions_and_waits(ohmbath, store):
    ohmbath("add", "Ida Marsh", "--role", "authoriser", "--password-stdin", typed=GOOD + "\n")
    token = store.sessions.begin(store.people.named("Ida Marsh").number)
    for _ in range(6):
        store.sign_in_failures.add("Ida Marsh", "192.0.2.7")
    changed = ohmbath("password", "Ida Marsh", "--password-stdin", typed="six wet copper washers\n")
    assert changed.exit_code == 0
    assert store.sessions.of(token) is None
    assert store.sign_in_failures.of_name("Ida Marsh") == ()


def test_every_change_by_command_is_in_the_audit_list(ohmbath, store):
    ohmbath("add", "Ida Marsh", "--role", "authoriser", "--password-stdin", typed=GOOD + "\n")
    ohmbath("password", "Ida Marsh", "--password-stdin", typed=GOOD + "\n")
    lines = [(line.deed, line.subject) for line in store.audit.newest(10)]
    assert lines == [("changed a password", "Ida Marsh"), ("added an account", "Ida Marsh: authoriser")]


def test_somebody_unknown_is_said(ohmbath):
    refused = ohmbath("disable", "Nemo")
    assert refused.exit_code == 2
    assert "ohmbath person list" in refused.stderr
