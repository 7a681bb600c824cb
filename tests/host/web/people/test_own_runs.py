"""Checks that everybody may begin: a student goes on with their own, and disturbs nobody's bench."""

import pytest

from host.people.role import Role
from tests.host.web.filled_forms import AN_INFRARED_CHECK, AT_A_STATION

pytestmark = pytest.mark.slow

AT_THE_BENCH = AN_INFRARED_CHECK | AT_A_STATION
A_COMPARISON = {"item": "the blue van", "curve": "ntc-2k5-20c"}


def begin(reader, address, form):
    answer = reader.post(address, data=form)
    assert answer.status_code == 303, answer.text
    return answer.location


@pytest.mark.parametrize(
    ("address", "form", "item", "deeds"),
    [
        ("/infrared", AT_THE_BENCH, "tag I-7", ("next", "shot", "answer", "hands", "stop")),
        ("/on-the-vehicle", A_COMPARISON, "blue van", ("read", "skip", "strike", "finish", "stop")),
    ],
)
def test_a_student_opens_and_stops_nobody_elses_check(peopled, address, form, item, deeds):
    technician = peopled.sit_down(Role.TECHNICIAN)
    bo = peopled.sit_down(Role.STUDENT, name="Bo Quill")
    mia = peopled.sit_down(Role.STUDENT, name="Mia Tansy")
    theirs, own = begin(technician, address, form), begin(bo, address, form)
    for run in (theirs, own):
        assert mia.get(run).status_code == 404
        for deed in deeds:
            answer = mia.post(f"{run}/{deed}", data={"step": "1" if address == "/infrared" else "gauge"})
            assert answer.status_code == 404, deed
    assert f'href="{own}"' not in mia.get(address).text
    assert mia.get(f"{address}/999").status_code == 404
    listed = bo.get(address).text
    assert f'href="{own}"' in listed and f'href="{theirs}"' not in listed
    assert item in bo.get(own).text and item in technician.get(own).text
    assert bo.get(theirs).status_code == 404
    if address == "/infrared":
        left = form | {"as_left_of": theirs.rpartition("/")[2], "done": "its lens was wiped"}
        assert bo.post(address, data=left).status_code == 404
    assert bo.post(f"{own}/stop").status_code == 303
    assert not peopled.desk.store.runs.get(1).ended_utc_s and peopled.desk.store.runs.get(2).ended_utc_s


def test_no_hand_touches_a_bench_that_is_at_another_run(peopled):
    bo = peopled.sit_down(Role.STUDENT, name="Bo Quill")
    own = begin(bo, "/infrared", AT_THE_BENCH)
    for step in ("1", "2", "3", "4"):
        bo.post(f"{own}/next", data={"step": step})
    run = peopled.desk.runs.start_sender_check(
        station="bench-1", item="a sender", curve="ntc-310-80c", set_points_c=(30.0, 60.0, 85.0)
    )
    for deed in ("heat", "shoot"):
        refused = bo.post(f"{own}/hands", data={"do": deed})
        assert refused.status_code == 422 and f"busy with run {run:04d}" in refused.text
    assert peopled.desk.benches["bench-1"].heater_c is None
    peopled.desk.runs.stop_run(run, "the tea is ready")
    assert bo.post(f"{own}/hands", data={"do": "heat"}).status_code == 303
    assert peopled.desk.benches["bench-1"].heater_c == 60.0
