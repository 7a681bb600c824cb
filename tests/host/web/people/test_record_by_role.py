"""A record of a vehicle that waits for an authoriser is called a record, not a certificate."""

import pytest

from host.people.role import Role

pytestmark = pytest.mark.slow


def test_a_record_that_waits_or_was_sent_back_is_called_a_record(peopled):
    instructor = peopled.sit_down(Role.INSTRUCTOR, name="Ines Okafor")
    vehicle = {"item": "the blue van", "curve": "ntc-2k5-20c", "job": ""}
    address = instructor.post("/on-the-vehicle", data=vehicle).location
    for step, fields in (
        ("thermostat", {"thermostat": "unknown"}),
        ("scan_data", {"shown": "70"}),
        ("gauge", {"shown": "90"}),
    ):
        instructor.post(f"{address}/read", data={"step": step, **fields})
    instructor.post(f"{address}/finish")
    waiting = instructor.get(address).text
    assert "waits to be authorised; until then it is no record" in waiting
    assert "no certificate." not in waiting
    authoriser = peopled.sit_down(Role.AUTHORISER, name="Abel Quist")
    (draft,) = peopled.desk.store.drafts.waiting()
    authoriser.post(f"/drafts/{draft.draft}/send-back", data={"reason": "the gauge has no numbers"})
    assert "There is no record." in instructor.get(address).text
