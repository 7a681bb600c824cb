"""The chain of issued certificates: what is taken away, altered or put in shows, and is named."""

import hashlib
import json
import subprocess
import sys
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from host.backup import make_backup, restore_backup
from host.data_folder import DataFolder
from host.store import Store, open_store
from host.store.certificate_standing import State
from host.store.certificates import CertificateStateError, IssuedFiles, LetOut, Place
from host.store.chain_check import check_chain

TABLES = ("chain", "certificates", "drafts", "draft_ends")


def paper(place: Place) -> IssuedFiles:
    return IssuedFiles(
        verdict="in_tolerance",
        pdf=f"%PDF {place.number}".encode(),
        canonical_json=json.dumps({"number": place.number, "previous_head": place.previous_head}).encode(),
        chart_svg=b"<svg/>",
    )


def issue(store: Store, count: int = 1, **let_out: str) -> list[str]:
    def new_run() -> int:
        return store.runs.create(station="bench-1", kind="sender_check", settings={})

    return [store.certificates.issue(new_run(), paper, let_out=LetOut(**let_out)) for _ in range(count)]


def past_the_program(store: Store, *statements: str) -> None:
    """Do what only somebody with the file in hand can do: the refusing triggers are taken off first."""
    with store._database.writing() as connection:
        if store.is_file:
            for name in connection.scalars(
                text("SELECT name FROM sqlite_master WHERE type = 'trigger'")
            ).all():
                connection.execute(text(f"DROP TRIGGER {name}"))
        else:
            for table in TABLES:
                connection.execute(text(f"ALTER TABLE {table} DISABLE TRIGGER USER"))
        for statement in statements:
            connection.execute(text(statement))


def report(store: Store, **more: str):
    return check_chain(store.chain, store.certificates, **more)


def test_each_certificate_names_the_head_that_the_links_before_it_give(store: Store) -> None:
    issue(store, 3)
    head = ""
    for link in store.chain.links():
        # the head by hand: SHA-256 of the text, which names the head before
        assert json.loads(link.content)["previous"] == head
        head = hashlib.sha256(link.content.encode()).hexdigest()
        assert link.head == head
    third = store.certificates.get("000003")
    assert json.loads(third.files.canonical_json)["previous_head"] == store.chain.links()[1].head
    said = store.chain.links()[2].said
    assert said["pdf_sha256"] == hashlib.sha256(third.files.pdf).hexdigest()
    assert said["data_sha256"] == hashlib.sha256(third.files.canonical_json).hexdigest()
    found = report(store)
    assert found.is_whole
    assert (found.links, found.certificates, found.head) == (3, 3, head)


@pytest.mark.parametrize("table", ["chain", "certificates"])
@pytest.mark.parametrize("deed", ["UPDATE {} SET number = 'x'", "DELETE FROM {}"])
def test_nothing_issued_is_edited_or_deleted_even_past_this_program(
    store: Store, table: str, deed: str
) -> None:
    issue(store)
    with pytest.raises(DBAPIError, match="never edited"), store._database.writing() as connection:
        connection.execute(text(deed.format(table)))


@pytest.mark.parametrize(
    ("statements", "broken", "words"),
    [
        (["DELETE FROM chain WHERE link = 2"], 2, "link 2 is missing"),
        (["UPDATE chain SET content = replace(content, '000002', '000009') WHERE link = 2"], 2, "altered"),
        (["DELETE FROM certificates WHERE number = '000003'"], 3, "certificate 000003 is gone"),
        (["UPDATE certificates SET verdict = 'out_of_tolerance' WHERE number = '000001'"], 1, "verdict"),
        (["UPDATE certificates SET pdf_sha256 = '0', pdf = chart_svg WHERE number = '000002'"], 2, "paper"),
        (["UPDATE certificates SET canonical_json = pdf WHERE number = '000002'"], 2, "data"),
        (["DELETE FROM chain WHERE link = 5"], 5, "5 links were made"),
        (
            [
                "DELETE FROM chain WHERE link = 5",
                "UPDATE counters SET value = 4 WHERE name = 'chain'",
                "DELETE FROM certificates WHERE number = '000004'",
            ],
            5,
            "numbers were given up to 000004",
        ),
        (["UPDATE chain SET number = '000001' WHERE link = 4"], 4, "row says other"),
    ],
)
def test_the_first_broken_link_is_named(store: Store, statements: list[str], broken: int, words: str) -> None:
    issue(store, 3)
    store.certificates.withdraw("000002", "the probe was broken", by="Ida Marsh")
    issue(store)
    assert report(store).is_whole
    past_the_program(store, *statements)
    found = report(store)
    assert not found.is_whole
    assert found.broken == broken
    assert words in found.trouble


def test_a_withdrawal_that_is_taken_away_shows(store: Store) -> None:
    issue(store)
    store.certificates.withdraw("000001", "the probe was broken", by="Ida Marsh")
    issue(store)
    past_the_program(store, "DELETE FROM chain WHERE link = 2", "UPDATE chain SET link = 2 WHERE link = 3")
    found = report(store)
    assert found.broken == 2
    assert "another link before it" in found.trouble


def test_a_chain_made_anew_is_found_out_by_a_head_that_is_known_from_paper(store: Store) -> None:
    issue(store, 2)
    known = store.chain.head()
    assert report(store, known_head=known.upper()).is_whole
    found = report(store, known_head="ab" * 32)
    assert found.broken == 3
    assert "known from elsewhere" in found.trouble


def test_a_certificate_is_withdrawn_once_with_its_reason(store: Store) -> None:
    issue(store)
    store.certificates.withdraw("000001", " the probe was broken ", by="Ida Marsh")
    standing = store.certificates.standing("000001")
    assert (standing.state, standing.reason, standing.by) == (
        State.WITHDRAWN,
        "the probe was broken",
        "Ida Marsh",
    )
    with pytest.raises(CertificateStateError, match="withdrawn already"):
        store.certificates.withdraw("000001", "again", by="Ida Marsh")
    with pytest.raises(CertificateStateError, match="withdrawn already"):
        issue(store, supersedes="000001")
    assert store.certificates.next_number() == "000002"
    assert report(store).is_whole


def test_a_certificate_that_takes_the_place_of_another_leaves_two_links(store: Store) -> None:
    issue(store)
    issue(store, supersedes="000001", by="Ida Marsh")
    assert store.certificates.standing("000001").words == "superseded by 000002"
    assert store.certificates.standings()["000002"].supersedes == "000001"
    assert [(link.kind.value, link.number) for link in store.chain.links()] == [
        ("issued", "000001"),
        ("issued", "000002"),
        ("superseded", "000001"),
    ]
    assert report(store).is_whole


@pytest.mark.slow
def test_two_processes_that_issue_at_once_leave_no_gap_and_no_double(store_folder: DataFolder) -> None:
    store = open_store(store_folder)
    store.stations.add("bench-1")
    script = Path(__file__).parents[1] / "issue_in_a_process.py"
    processes = [
        subprocess.Popen([sys.executable, str(script), str(store_folder.path), "12", word])
        for word in ("one", "other")
    ]
    assert [process.wait(timeout=60) for process in processes] == [0, 0]
    issued = store.certificates.all()
    assert [one.number for one in issued] == [f"{number:06d}" for number in range(1, 25)]
    by = {one.files.pdf.rpartition(b" ")[2] for one in issued}
    assert by == {b"one", b"other"}
    assert report(store).is_whole
    store.close()


def test_a_restored_store_opens_a_series_of_its_own_that_names_the_last_head(tmp_path: Path) -> None:
    folder = DataFolder(tmp_path / "desk")
    store = open_store(folder)
    store.stations.add("bench-1")
    issue(store, 2)
    manifest = make_backup(folder, store, tmp_path / "desk.ohmbath")
    assert (manifest.last_certificate, manifest.head) == ("000002", store.chain.head())
    issue(store)  # lost with the machine
    lost = store.certificates.get("000003").number
    numbers = []
    for name in ("one", "other"):  # restored twice by mistake
        restore_backup(tmp_path / "desk.ohmbath", tmp_path / name)
        again = open_store(DataFolder(tmp_path / name))
        opened = again.chain.links()[-1]
        assert opened.said["previous"] == manifest.head
        assert opened.said["last_number"] == "000002"
        numbers += issue(again, 2)
        assert report(again, known_head=manifest.head).is_whole
        again.close()
    assert lost not in numbers
    assert len(set(numbers)) == 4
    assert {number.partition("-")[2] for number in numbers} == {"000001", "000002"}
    store.close()
