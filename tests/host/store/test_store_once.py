"""What two do at once is done once: an event follows the state it was made from, a run has one paper."""

import threading
from collections.abc import Callable
from typing import Any

import pytest

from host.errors import DeskError
from host.store import Store
from host.store.certificates import IssuedFiles, LetOut, Place
from host.store.drafts import DraftFiles
from host.store.one_paper import AlreadyOnPaperError
from host.store.runs import EventAfter, RunWentOnError

AT_ONCE = 6
RESULT = EventAfter(kind="result", after=1)


def begun(store: Store) -> int:
    run = store.runs.create(station=None, kind="station_round", settings={"item": "a resistor"})
    store.runs.append(run, "started", {}, after=0)
    return run


def paper(place: Place) -> IssuedFiles:
    return IssuedFiles(
        verdict="agrees", pdf=f"%PDF {place.number}".encode(), canonical_json=b"{}", chart_svg=b"<svg/>"
    )


def draft_files(_draft: int) -> DraftFiles:
    return DraftFiles(verdict="agrees", canonical_json=b"{}", chart_svg=b"<svg/>")


def all_at_once(deed: Callable[[int], Any]) -> tuple[list[Any], list[DeskError]]:
    """What each of several threads gave back, and what was refused; they start together."""
    gate = threading.Barrier(AT_ONCE)
    done: list[Any] = []
    refused: list[DeskError] = []

    def one(index: int) -> None:
        gate.wait(timeout=30.0)
        try:
            done.append(deed(index))
        except DeskError as error:
            refused.append(error)

    threads = [threading.Thread(target=one, args=(index,)) for index in range(AT_ONCE)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(done) + len(refused) == AT_ONCE
    return done, refused


def test_of_several_who_add_to_the_same_state_one_is_heard(store: Store) -> None:
    run = begun(store)
    done, refused = all_at_once(lambda who: store.runs.append(run, "taken", {"by": who}, after=1))
    assert done == [2]
    assert {type(error) for error in refused} == {RunWentOnError}
    assert [kind for kind, _ in store.runs.events(run)] == ["started", "taken"]


def test_one_press_that_comes_several_times_at_once_is_one_event_and_refused_to_nobody(store: Store) -> None:
    run = begun(store)
    done, refused = all_at_once(lambda _who: store.runs.append(run, "taken_back", {"station": "b"}, after=1))
    assert (done, refused) == ([2] * AT_ONCE, [])
    assert len(store.runs.events(run)) == 2


def test_an_event_that_leaves_a_gap_is_refused(store: Store) -> None:
    run = begun(store)
    with pytest.raises(RunWentOnError, match="page as it stands now"):
        store.runs.append(run, "taken", {}, after=7)


def test_another_deed_with_the_same_words_is_not_the_press_that_came_before(store: Store) -> None:
    run = begun(store)
    store.runs.append(run, "taken", {"station": "b"}, after=1)
    with pytest.raises(RunWentOnError):
        store.runs.append(run, "taken_back", {"station": "b"}, after=1)


def test_several_who_close_a_run_at_once_get_one_certificate(store: Store) -> None:
    run = begun(store)
    done, refused = all_at_once(lambda _who: store.certificates.issue(run, paper, event=RESULT))
    assert done == ["000001"]
    assert {type(error) for error in refused} == {AlreadyOnPaperError}
    assert [kind for kind, _ in store.runs.events(run)] == ["started", "result"]
    assert [one.number for one in store.certificates.all()] == ["000001"]


def test_several_who_close_a_run_at_once_leave_one_draft(store: Store) -> None:
    run = begun(store)
    done, refused = all_at_once(lambda who: store.drafts.add(run, draft_files, made_by=str(who)))
    assert (done, len(refused)) == ([1], AT_ONCE - 1)
    assert len(store.drafts.waiting()) == 1


def test_a_draft_that_several_authorise_at_once_becomes_one_certificate(store: Store) -> None:
    run = begun(store)
    draft = store.drafts.add(run, draft_files, made_by="Ida Marsh", event=RESULT)
    done, refused = all_at_once(
        lambda who: store.certificates.issue(run, paper, let_out=LetOut(by=str(who), draft=draft))
    )
    assert (done, len(refused)) == (["000001"], AT_ONCE - 1)
    assert all("issued already, as certificate 000001" in str(error) for error in refused)


def test_of_two_drafts_that_an_earlier_version_left_of_one_run_one_can_be_let_out(store: Store) -> None:
    run, other = begun(store), begun(store)
    first = store.drafts.add(run, draft_files, made_by="Ida Marsh")
    second = store.drafts.add(other, draft_files, made_by="Ida Marsh")
    store.certificates.issue(run, paper, let_out=LetOut(by="Per Nilsson", draft=first))
    with pytest.raises(AlreadyOnPaperError, match="certificate already, 000001"):
        store.certificates.issue(run, paper, let_out=LetOut(by="Per Nilsson", draft=second))
    store.drafts.send_back(second, "the same measurement as 000001", by="Per Nilsson")
    assert store.drafts.waiting() == []


def test_a_result_that_came_in_while_the_paper_was_set_is_never_missing_from_it(store: Store) -> None:
    run = begun(store)

    def make(place: Place) -> IssuedFiles:
        store.runs.append(run, "taken", {"station": "late"}, after=1)
        return paper(place)

    with pytest.raises(RunWentOnError):
        store.certificates.issue(run, make, event=RESULT)
    assert store.certificates.next_number() == "000001" and store.certificates.all() == []
    done = store.certificates.issue(run, paper, event=EventAfter(kind="result", after=2))
    assert done == "000001"


def test_an_amendment_comes_beside_the_certificate_it_supersedes(store: Store) -> None:
    run = begun(store)
    first = store.certificates.issue(run, paper)
    assert store.certificates.issue(run, paper, let_out=LetOut(supersedes=first)) == "000002"


def test_a_form_that_is_sent_twice_opens_one_run(store: Store) -> None:
    def open_run(shown: str) -> int:
        settings = {"item": "Probe P-1", "ice_ohm": shown}
        return store.runs.create(station=None, kind="probe_check", settings=settings, same_within_s=30.0)

    done, _ = all_at_once(lambda _who: open_run("5650"))
    assert done == [1] * AT_ONCE
    assert open_run("5651") == 2
    assert store.runs.create(station=None, kind="probe_check", settings={}, same_within_s=30.0) == 3
    # The same words on the form of another check are another run.
    assert store.runs.create(station=None, kind="witness_check", settings={}, same_within_s=30.0) == 4
