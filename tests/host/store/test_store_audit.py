"""The audit list: only ever added to, whatever keeps it."""

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from host.people.deed import Deed
from host.store.certificates import IssuedFiles

CHANGES = ["UPDATE audit SET person = 'nobody'", "DELETE FROM audit"]


@pytest.mark.parametrize("change", CHANGES)
def test_no_line_is_changed_or_taken_out_even_past_this_program(store, change):
    store.audit.add(Deed.SIGNED_IN, person="Ida Marsh", role="authoriser")
    with pytest.raises(DBAPIError, match="audit are appended, never edited"):
        with store._database.writing() as connection:
            connection.execute(text(change))
    (line,) = store.audit.newest(9)
    assert (line.person, line.deed) == ("Ida Marsh", "signed in")


@pytest.mark.slow
@pytest.mark.postgresql
@pytest.mark.parametrize("store_folder", ["server"], indirect=True)
def test_the_list_cannot_be_emptied_at_a_stroke(store):
    store.audit.add(Deed.SIGNED_IN, person="Ida Marsh")
    with pytest.raises(DBAPIError, match="never edited"), store._database.writing() as connection:
        connection.execute(text("TRUNCATE audit"))
    assert store.audit.count() == 1


def test_a_certificate_that_is_issued_is_a_line_in_the_same_transaction(store):
    run = store.runs.create(station="bench-1", kind="sender_check", settings={})

    def paper(number):
        return IssuedFiles(verdict="in_tolerance", pdf=b"%PDF", canonical_json=b"{}", chart_svg=b"<svg/>")

    number = store.certificates.issue(run, paper)
    (line,) = store.audit.newest(9)
    assert (line.role, line.deed) == ("the desk", "issued a certificate")
    assert line.subject == f"certificate {number} of run {run:04d}"


def test_where_no_certificate_comes_of_it_no_line_says_so(store):
    run = store.runs.create(station="bench-1", kind="sender_check", settings={})

    def fail(number):
        raise RuntimeError("the font is missing")

    with pytest.raises(RuntimeError):
        store.certificates.issue(run, fail)
    assert store.audit.count() == 0
