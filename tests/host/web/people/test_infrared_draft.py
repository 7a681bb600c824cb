"""An infrared check at a desk with accounts: a draft first, and corrections once somebody answers for it."""

import pytest

from host.people.role import Role
from tests.host.web.infrared.steps import begin, whole_check

pytestmark = pytest.mark.slow


def test_corrections_wait_until_the_draft_is_authorised(peopled):
    technician = peopled.sit_down(Role.TECHNICIAN)
    run = int(begin(technician).headers["Location"].rpartition("/")[2])
    whole_check(technician, 1.0, run)
    page = technician.get(f"/infrared/{run}").text
    assert "See the draft" in page and "once somebody has authorised it" in page
    assert technician.post(f"/infrared/{run}/register").status_code == 409
    authoriser = peopled.sit_down(Role.AUTHORISER)
    assert authoriser.post("/drafts/1/authorise").status_code == 303
    assert technician.post(f"/infrared/{run}/register").status_code == 303
    entry = peopled.desk.store.register.standing("infrared", "I-7").in_force
    assert entry.certificate == "000001"


def test_a_student_puts_nothing_into_the_register(peopled):
    student = peopled.sit_down(Role.STUDENT)
    assert student.post("/infrared/1/register").status_code == 403
    assert student.post("/witness-check", data={}).status_code == 403
    assert student.get("/probe-check").status_code == 403
