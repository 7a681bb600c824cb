"""From a draft to a certificate, and what becomes of it: who may, and what is written down."""

import json

import pytest

from host.certificates.canonical import certificate_from_canonical
from host.people.role import Role
from host.procedures.record.issued_record import record_in_store
from host.procedures.record.recompute import recompute
from host.store.certificate_standing import State
from host.store.chain_check import check_chain

pytestmark = pytest.mark.slow

TYPED = {
    "item": "sender, tag 7",
    "curve": "ntc-310-80c",
    "rule": "guarded",
    "temperature_1": "80",
    "resistance_1": "310",
    "limit_k": "5",
    "customer": "Mara Quill",
}


@pytest.fixture
def store(peopled):
    return peopled.desk.store


def typed_by(reader) -> None:
    answer = reader.post("/typed", data=TYPED)
    assert answer.status_code == 303, answer.text


def deeds(store) -> list[tuple[str, str]]:
    return [(entry.person, entry.deed) for entry in store.audit.newest(3)]


def test_what_is_typed_is_a_draft_that_only_an_authoriser_lets_out(peopled, store):
    technician = peopled.sit_down(Role.TECHNICIAN)
    student = peopled.sit_down(Role.STUDENT)
    typed_by(technician)
    assert store.certificates.all() == []
    assert store.certificates.next_number() == "000001"
    (draft,) = store.drafts.waiting()
    assert "no certificate yet" in technician.get("/typed/1").text
    for reader in (student, technician, peopled.sit_down(Role.INSTRUCTOR)):
        assert reader.post(f"/drafts/{draft.draft}/authorise").status_code == 403
    boss = peopled.sit_down(Role.AUTHORISER, name="Ida Marsh")
    assert "sender, tag 7" in boss.get("/drafts").text
    assert boss.post("/drafts/1/authorise").headers["Location"] == "/certificates/000001"
    paper = certificate_from_canonical(store.certificates.get("000001").files.canonical_json)
    assert (paper.number, paper.authorised_by, paper.draft) == ("000001", "Ida Marsh", False)
    assert paper.operator == "Person technician"  # who typed it signs as the one who measured
    assert recompute(record_in_store(store, "000001")).difference is None
    assert ("authorisation", "by somebody else than who measured") in paper.conditions
    assert deeds(store)[0] == ("Ida Marsh", "authorised a certificate")
    assert boss.post("/drafts/1/authorise").headers["Location"] == "/certificates/000001"  # pressed twice
    assert len(store.certificates.all()) == 1
    assert "In force" in boss.get("/certificates/000001").text


def test_a_draft_on_paper_says_on_every_page_that_it_is_none(peopled):
    typed_by(peopled.sit_down(Role.TECHNICIAN))
    boss = peopled.sit_down(Role.AUTHORISER)
    paper = boss.get("/drafts/1.pdf").data
    pypdf = pytest.importorskip("pypdf")
    from io import BytesIO

    pages = pypdf.PdfReader(BytesIO(paper)).pages
    assert all("Draft" in page.extract_text() for page in pages)


@pytest.mark.parametrize("rule", ["allowed", "refused"])
def test_whether_somebody_may_let_out_their_own_work_is_a_rule_of_the_shop(peopled, store, rule):
    store.settings.change({"own_work": rule})
    both = peopled.sit_down(Role.AUTHORISER, Role.TECHNICIAN, name="Bo Teller")
    typed_by(both)
    answer = both.post("/drafts/1/authorise")
    if rule == "allowed":
        assert answer.status_code == 303
        paper = certificate_from_canonical(store.certificates.get("000001").files.canonical_json)
        assert ("authorisation", "by who measured; the rule of the shop allows it") in paper.conditions
        return
    assert answer.status_code == 409
    assert "somebody else authorises it" in answer.text
    assert store.certificates.all() == []
    assert peopled.sit_down(Role.AUTHORISER, name="Ida Marsh").post("/drafts/1/authorise").status_code == 303


def test_a_draft_that_is_sent_back_uses_no_number_and_says_why(peopled, store):
    worker = peopled.sit_down(Role.TECHNICIAN)
    typed_by(worker)
    boss = peopled.sit_down(Role.AUTHORISER, name="Ida Marsh")
    assert boss.post("/drafts/1/send-back", data={"reason": " "}).status_code == 422
    assert boss.post("/drafts/1/send-back", data={"reason": "wrong customer"}).status_code == 303
    assert "wrong customer" in worker.get("/typed/1").text
    assert boss.post("/drafts/1/authorise").status_code == 409
    peopled.clock.utc_s += 60.0
    typed_by(worker)
    assert boss.post("/drafts/2/authorise").headers["Location"] == "/certificates/000001"


def test_an_amended_certificate_says_what_changed_and_takes_the_place_of_the_first(peopled, store):
    worker = peopled.sit_down(Role.TECHNICIAN, name="Bo Teller")
    typed_by(worker)
    boss = peopled.sit_down(Role.AUTHORISER, name="Ida Marsh")
    boss.post("/drafts/1/authorise")
    before = store.certificates.get("000001")
    same = {"customer": "Mara Quill", "why": "name was wrong"}
    assert "Nothing is changed" in worker.post("/certificates/000001/amend", data=same).text
    assert worker.post("/certificates/000001/amend", data={"customer": "Quill & Son"}).status_code == 422
    change = {"customer": "Quill & Son", "why": "name was wrong"}
    assert worker.post("/certificates/000001/amend", data=change).status_code == 303
    assert store.certificates.standing("000001").is_in_force  # until it is let out
    assert worker.post("/certificates/000001/amend", data=change).status_code == 422  # one at a time
    assert boss.post("/drafts/2/authorise").headers["Location"] == "/certificates/000002"
    after = certificate_from_canonical(store.certificates.get("000002").files.canonical_json)
    assert (after.customer, after.supersedes) == ("Quill & Son", "000001")
    assert after.change == "customer: “Mara Quill” is now “Quill & Son”. Why: name was wrong"
    numbers = [json.loads(one.files.canonical_json)["body"] for one in store.certificates.all()]
    assert numbers[0] == numbers[1]
    assert store.certificates.get("000001") == before
    assert store.certificates.standing("000001").words == "superseded by 000002"
    assert "superseded by 000002" in boss.get("/certificates").text
    assert "/certificates/000002" in boss.get("/certificates/000001").text
    assert check_chain(store.chain, store.certificates).is_whole


def test_what_was_typed_for_a_certificate_that_was_amended_meanwhile_is_kept_on_the_page_of_the_newest(
    peopled, store
):
    worker = peopled.sit_down(Role.TECHNICIAN, name="Bo Teller")
    typed_by(worker)
    boss = peopled.sit_down(Role.AUTHORISER, name="Ida Marsh")
    boss.post("/drafts/1/authorise")
    worker.post("/certificates/000001/amend", data={"customer": "Quill & Son", "why": "name was wrong"})
    boss.post("/drafts/2/authorise")
    late = {"item": "sender, tag 77", "customer": "Mara Quill", "place": "", "why": "the tag was misread"}
    refused = worker.post("/certificates/000001/amend", data=late)
    assert refused.status_code == 422
    assert "Certificate 000001 is superseded by 000002" in refused.text
    assert 'action="/certificates/000002/amend"' in refused.text
    for kept in (
        "sender, tag 77",
        "the tag was misread",
        "Quill &amp; Son",
    ):  # nobody changed the customer back
        assert f'value="{kept}"' in refused.text
    boss.post("/certificates/000002/withdraw", data={"reason": "the thermometer was broken"})
    refused = worker.post("/certificates/000001/amend", data=late)
    assert refused.status_code == 422
    assert "sender, tag 77" in refused.text and "the tag was misread" in refused.text
    assert 'action="/certificates/000002/amend"' not in refused.text


def test_a_certificate_is_withdrawn_by_an_authoriser_with_a_reason_and_every_page_says_so(peopled, store):
    worker = peopled.sit_down(Role.TECHNICIAN)
    typed_by(worker)
    boss = peopled.sit_down(Role.AUTHORISER, name="Ida Marsh")
    boss.post("/drafts/1/authorise")
    reason = {"reason": "the thermometer was broken"}
    assert worker.post("/certificates/000001/withdraw", data=reason).status_code == 403
    assert boss.post("/certificates/000001/withdraw", data={"reason": ""}).status_code == 422
    assert boss.post("/certificates/000001/withdraw", data=reason).status_code == 303
    assert store.certificates.standing("000001").state is State.WITHDRAWN
    assert deeds(store)[0] == ("Ida Marsh", "withdrew a certificate")
    assert "withdrawn" in boss.get("/certificates").text
    for address in ("/certificates/000001", "/typed/1"):
        assert "the thermometer was broken" in boss.get(address).text


def test_nobody_makes_themselves_an_authoriser_by_any_way_through_the_pages(peopled, store):
    keeper = peopled.sit_down(Role.INSTRUCTOR, name="Nell Sparrow")
    peopled.add("Ida Marsh Two", Role.AUTHORISER)
    own = store.people.named("Nell Sparrow").number
    other = store.people.named("Ida Marsh Two").number
    tries = [
        (f"/people/{own}/roles", {"role": ["instructor", "authoriser"]}),
        ("/people", {"name": "Nobody At All", "role": ["authoriser"], "password": "six worn rubber hoses"}),
        (f"/people/{other}/password", {"password": "six worn rubber hoses"}),
    ]
    for address, data in tries:
        answer = keeper.post(address, data=data)
        assert answer.status_code == 422
        assert "Only an authoriser" in answer.text
    assert store.people.named("Nell Sparrow").roles == {Role.INSTRUCTOR}
    store.people.set_disabled(other, True)
    assert keeper.post(f"/people/{other}/able", data={"disabled": "no"}).status_code == 422
    boss = peopled.sit_down(Role.AUTHORISER, name="Ida Marsh")
    data = {"role": ["instructor", "authoriser"]}
    assert boss.post(f"/people/{own}/roles", data=data).status_code == 303
