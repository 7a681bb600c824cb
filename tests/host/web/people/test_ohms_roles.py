"""Who checks the ohms, and meters and boxes, at a desk with accounts; what waits for an authoriser."""

import pytest

from host.people.role import Role
from host.procedures.run_kind import RunKind

pytestmark = pytest.mark.slow

ROWS = {"subject": "meter", "serial": "M-1", "rows": "100 100.5\n1000 1000.5\n2000 2001.5", "leads": ""}


def test_staff_check_the_ohms_and_a_student_does_not(peopled):
    student = peopled.sit_down(Role.STUDENT)
    assert student.post("/stations/bench-1/ohms-check").status_code == 403
    assert (
        student.get("/meter-check").status_code == student.post("/meter-check", data=ROWS).status_code == 403
    )
    assert not peopled.desk.store.runs.open(RunKind.OHMS_CHECK)
    technician = peopled.sit_down(Role.TECHNICIAN, name="Tom Vetch")
    assert "Tom Vetch, as you are signed in" in technician.get("/stations/bench-1/ohms").text
    answer = technician.post("/stations/bench-1/ohms-check", data={"operator": "Somebody Else"})
    run = int(answer.headers["Location"].rpartition("/")[2])
    assert peopled.desk.runs.view(run).state.started.operator == "Tom Vetch"


def test_what_was_found_of_a_meter_waits_until_its_draft_is_authorised(peopled):
    technician = peopled.sit_down(Role.TECHNICIAN)
    run = int(technician.post("/meter-check", data=ROWS).headers["Location"].rpartition("/")[2])
    assert "once somebody has authorised it" in technician.get(f"/meter-check/{run}").text
    assert technician.post(f"/meter-check/{run}/register").status_code == 409
    authoriser = peopled.sit_down(Role.AUTHORISER)
    assert authoriser.post("/drafts/1/authorise").status_code == 303
    assert technician.post(f"/meter-check/{run}/register").status_code == 303
    entry = peopled.desk.store.register.standing("meter", "M-1").in_force
    assert entry.certificate == "000001"
    authoriser.post("/certificates/000001/withdraw", data={"reason": "The meter was dropped."})
    other = int(technician.post("/meter-check", data=ROWS).headers["Location"].rpartition("/")[2])
    assert technician.post(f"/meter-check/{other}/register").status_code == 409
