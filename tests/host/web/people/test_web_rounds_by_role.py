"""Who has a part in a round: staff lead it, an authoriser lets it out, a student sees nothing of it."""

import pytest

from host.certificates.canonical import certificate_from_canonical
from host.people.role import Role
from host.procedures.record.issued_record import record_in_store
from host.procedures.record.recompute import recompute
from tests.host.web.filled_forms import A_ROUND_OF_A_RESISTOR

pytestmark = pytest.mark.slow


def test_an_instructor_leads_a_round_that_an_authoriser_lets_out_and_a_student_never_sees(peopled):
    instructor = peopled.sit_down(Role.INSTRUCTOR, name="Ines Okafor")
    student = peopled.sit_down(Role.STUDENT)
    store = peopled.desk.store
    address = instructor.post("/rounds", data=A_ROUND_OF_A_RESISTOR).location
    result = {"station": "bench-1", "value": "1004.1", "expanded_u": "0.5", "k": "2"}
    assert student.post(f"{address}/take", data=result).status_code == 403
    assert instructor.post(f"{address}/take", data=result).status_code == 303
    instructor.post(f"{address}/close")
    (draft,) = store.drafts.waiting()
    assert "waits to be authorised" in instructor.get(address).text
    for page in ("/rounds", address, f"{address}/results.csv", f"/drafts/{draft.draft}"):
        assert student.get(page).status_code == 403
    assert "/rounds" not in student.get("/help").text.partition("<footer")[2]
    authoriser = peopled.sit_down(Role.AUTHORISER, name="Abel Quist")
    assert "does not agree" in authoriser.get(f"/drafts/{draft.draft}").text
    assert authoriser.post(f"/drafts/{draft.draft}/authorise").status_code == 303
    (issued,) = store.certificates.all()
    certificate = certificate_from_canonical(issued.files.canonical_json)
    assert (certificate.operator, certificate.authorised_by) == ("Ines Okafor", "Abel Quist")
    assert "typed by hand by Ines Okafor" in " ".join(certificate.citations)
    assert recompute(record_in_store(store, issued.number)).difference is None
    assert f"certificate {issued.number}" in instructor.get(address).text
