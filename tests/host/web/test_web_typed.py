"""A sender check typed at the desk: the same judgement as `ohmbath check`, kept as a run."""

import json
import math
import re
import subprocess
import sys
from pathlib import Path

import pytest

from calibration.curves import curve_names, load_curve
from host.certificates.canonical import certificate_from_canonical
from host.curve_to_find import FIND_OUT
from host.points_file import read_points
from host.procedures.record.issued_record import record_in_store
from host.procedures.record.recompute import recompute
from host.procedures.sender.hand_check import HandChecks, judged
from host.store.instrument_marks import Mark
from host.typed_check import check_typed_points

pytestmark = pytest.mark.slow

POINTS = (("20", "2506"), ("60", "604"), ("80", "336"))


def fields(points=POINTS, **more):
    typed = {"item": "sender, tag 7", "curve": "ntc-310-80c", "rule": "guarded", "judge": "judge", **more}
    for number, (temperature, resistance) in enumerate(points, start=1):
        typed |= {f"temperature_{number}": temperature, f"resistance_{number}": resistance}
    return typed


def said(answer):
    return answer.text.replace("\N{NO-BREAK SPACE}", " ")


def issued(desk):
    return certificate_from_canonical(desk.store.certificates.get("000001").files.canonical_json)


def test_typed_readings_come_to_the_same_verdict_as_the_command_with_a_certificate_of_the_desk(
    browser, desk, tmp_path
):
    assert browser.post("/typed", data=fields(customer="Ada")).headers["Location"] == "/typed/1"
    page = said(browser.get("/typed/1"))
    assert "2.6 K too low" in page and "certificate 000001" in page and "for Ada" in page
    points = tmp_path / "points.csv"
    points.write_text("temperature_c,resistance_ohm\n20,2506\n60,604\n80,336\n", "utf-8")
    command = [str(Path(sys.executable).parent / "ohmbath"), "check", str(points), "--curve", "ntc-310-80c"]
    printed = json.loads(subprocess.run([*command, "--json"], capture_output=True, text=True).stdout)
    errors = [point["error_k"] for point in printed["points"]]
    assert [point.error_k for point in issued(desk).points] == pytest.approx(errors, abs=1e-9)
    assert issued(desk).verdict.value == printed["verdict"]


def test_contact_place_and_day_of_receipt_stand_on_the_certificate(browser, desk):
    came = {"customer_contact": "2 Loom Lane", "place": "the yard, bay 4", "received": "2031-05-16"}
    refused = browser.post("/typed", data=fields(**came | {"received": "16 May"}))
    assert refused.status_code == 422 and "as year, month and day" in refused.text
    assert "the yard, bay 4" in refused.text  # what was typed stays
    assert browser.post("/typed", data=fields(**came)).status_code == 303
    assert {name: getattr(issued(desk), name) for name in came} == came


def test_the_result_can_be_worked_out_again_from_what_was_kept(browser, desk):
    browser.post("/typed", data=fields())
    again = judged(HandChecks(desk.store).view(1).settings)
    assert [point.error_k for point in again.points] == [point.error_k for point in issued(desk).points]


def test_kilohms_and_fahrenheit_are_read_as_people_write_them(browser, desk, tmp_path):
    browser.post("/typed", data=fields((("68F", "2.506k"), ("60C", "604"), ("80", "336"))))
    browser.get("/?scale=f")
    browser.post("/typed", data=fields((("68", "2506"), ("140", "604"), ("176", "336"))))
    first, second = (judged(HandChecks(desk.store).view(run).settings) for run in (1, 2))
    assert [p.error_k for p in first.points] == pytest.approx([p.error_k for p in second.points], abs=1e-9)


def test_a_stated_uncertainty_counts_in_place_of_the_assumed_one(browser, desk):
    browser.post("/typed", data=fields(u_temperature_k="0.1", u_resistance_percent="0.2"))
    stated = judged(HandChecks(desk.store).view(1).settings)
    assert [point.u_temperature_k for point in stated.used] == [0.1] * 3
    assert [point.u_resistance_ohm for point in stated.used] == pytest.approx([5.012, 1.208, 0.672])
    assert "0.1 K (stated for the whole file" in said(browser.get("/typed/1"))


def test_a_mistyped_row_is_said_beside_it_and_everything_typed_stays(browser, desk):
    answer = browser.post("/typed", data=fields((("20", "2506"), ("sixty", "604"), ("80", ""))))
    assert answer.status_code == 422
    assert 'id="temperature_2-wrong"' in answer.text and 'id="resistance_3-wrong"' in answer.text
    assert 'value="sixty"' in answer.text and 'value="2506"' in answer.text
    assert desk.store.runs.all() == []


def test_a_point_where_the_curve_cannot_judge_is_said_beside_its_row(browser):
    answer = browser.post("/typed", data=fields((("20", "2506"), ("", ""), ("250", "20"))))
    assert answer.status_code == 422
    assert 'id="temperature_3-wrong"' in answer.text


@pytest.mark.parametrize(
    ("field", "text"),
    [("item", ""), ("curve", "none"), ("rule", "lenient"), ("limit_k", "-1"), ("u_temperature_k", "warm")],
)
def test_each_field_that_cannot_be_taken_is_marked(browser, field, text):
    answer = browser.post("/typed", data=fields(**{field: text}))
    assert answer.status_code == 422
    assert re.search(rf'id="{field}"[^>]*aria-invalid="true"', answer.text)


def test_a_curve_without_a_tolerance_asks_for_a_limit(browser):
    curve = next(one for one in map(load_curve, curve_names()) if not one.has_tolerance)
    points = tuple((f"{t:g}", f"{curve.nominal_ohm(t):g}") for t in curve.printed_temperatures_c[:3])
    answer = browser.post("/typed", data=fields(points, curve=curve.name))
    assert answer.status_code == 422
    assert 'id="limit_k-wrong"' in answer.text
    assert browser.post("/typed", data=fields(points, curve=curve.name, limit_k="2")).status_code == 303


def test_an_open_reading_is_kept_and_said_and_the_rest_is_judged(browser, desk):
    browser.post("/typed", data=fields((*POINTS, ("90", "OL"))))
    assert "It could not be read at 90 °C" in said(browser.get("/typed/1"))


def test_a_sender_that_reads_well_but_not_everywhere_is_not_decided_and_is_to_be_checked_again(browser, desk):
    good = tuple((f"{t:g}", f"{load_curve('ntc-310-80c').nominal_ohm(t):g}") for t in (20.0, 40.0))
    browser.post("/typed", data=fields((*good, ("80", "OL")), limit_k="5"))
    page = said(browser.get("/typed/1"))
    assert issued(desk).verdict.value == "not_decided"
    assert "It could not be read at 80 °C" in page and "so that it is not decided" in page
    assert "do what is said above, then check it again" in page and "too near the limit" not in page


def test_a_sender_that_cannot_be_read_at_all_is_no_certificate(browser, desk):
    answer = browser.post("/typed", data=fields((("20", "OL"), ("60", "OL"))))
    assert answer.status_code == 422
    assert "At no temperature could the sender be read" in answer.text
    assert desk.store.certificates.all() == []


def test_more_rows_come_without_losing_what_was_typed(browser):
    typed = fields(POINTS)
    typed.pop("judge")
    answer = browser.post("/typed", data=typed | {"more": "rows"})
    assert answer.status_code == 200
    assert answer.text.count('name="temperature_') == 10
    assert 'value="2506"' in answer.text


def test_a_check_is_typed_again_from_what_it_was(browser):
    browser.post("/typed", data=fields())
    page = browser.get("/typed?again=1").text
    assert 'value="2506"' in page and 'value="sender, tag 7"' in page


def test_the_lists_lead_to_it(browser):
    browser.post("/typed", data=fields())
    assert "typed by hand" in browser.get("/runs").text
    assert browser.get("/runs/1").headers["Location"] == "/typed/1"
    assert "000001" in browser.get("/certificates").text
    assert browser.get("/typed/9").status_code == 404
    assert browser.get("/typed?again=9").status_code == 404


def test_a_desk_that_was_killed_before_the_paper_issues_it_when_the_page_is_opened(browser, desk, tmp_path):
    browser.post("/typed", data=fields())
    settings = HandChecks(desk.store).view(1).settings
    run = desk.store.runs.create(station=None, kind="hand_check", settings=settings.as_json())
    desk.store.runs.append(run, "started", {"settings": settings.as_json()}, after=0)
    assert "certificate 000002" in browser.get(f"/typed/{run}").text
    assert "certificate 000002" in browser.get(f"/typed/{run}").text


def test_points_of_a_page_and_of_a_file_are_the_same_points(tmp_path, browser, desk):
    browser.post("/typed", data=fields())
    settings = HandChecks(desk.store).view(1).settings
    path = tmp_path / "points.csv"
    path.write_text(settings.points_csv, "utf-8")
    from_file = check_typed_points(
        read_points(path), curve=settings.reference, rule=judged(settings).rule, limit_k=None
    )
    assert from_file.points == judged(settings).points


def test_what_was_typed_on_a_celsius_page_stays_celsius_when_another_page_changed_the_scale(browser, desk):
    shown = browser.get("/typed?scale=c").text
    hidden = re.search(r'name="page_scale" value="(\w)"', shown).group(1)
    browser.get("/runs?scale=f")
    browser.post("/typed", data=fields(page_scale=hidden))
    assert [point.temperature_c for point in issued(desk).points] == [20.0, 60.0, 80.0]


#: A meter that shows half a per cent too much, and whose certificate says so to a thousandth.
METER_PAPER = """
kind = "meter"
serial = "M-4"
certificate = "R-12"
issuer = "nobody at all"
issued = 2020-01-01
due = 2099-01-01
k = 2.0
""" + "".join(
    f"[[point]]\nshown_ohm = {1.005 * ohm}\ncorrection_ohm = {-0.005 * ohm}\nexpanded_u_ohm = {1e-3 * ohm}\n"
    for ohm in (100.0, 1000.0, 10_000.0)
)


def test_a_named_meter_corrects_the_ohms_and_its_certificate_stands_on_the_paper(browser, desk):
    assert "Resistance meter" not in browser.get("/typed").text
    desk.store.register.add_text(METER_PAPER)
    assert "M-4, certificate R-12" in browser.get("/typed").text
    browser.post("/typed", data=fields())
    as_before = issued(desk)
    browser.post("/typed", data=fields(meter="M-4", leads="0.2"))
    paper = certificate_from_canonical(desk.store.certificates.get("000002").files.canonical_json)
    for point, (_, shown), other in zip(paper.points, POINTS, as_before.points, strict=True):
        assert point.resistance_ohm == pytest.approx((float(shown) - 0.2) / 1.005, abs=1e-6)
        assert point.expanded_u_k < other.expanded_u_k
        assert {line.quantity for line in point.budget.lines} >= {
            "meter, by its certificate", "last digit of the meter", "leads taken off, clips"
        }  # fmt: skip
    [used] = paper.instruments
    assert (used.role, used.serial, used.certificate) == ("resistance meter", "M-4", "R-12, nobody at all")
    assert "corrected by the meter's certificate" in paper.method and as_before.instruments == ()
    assert not any("1 % of R" in remark for remark in paper.remarks)
    page = said(browser.get("/typed/2"))
    assert "resistance meter M-4: certificate R-12" in page and "0.2 Ω of leads taken off" in page
    [standing] = [one for one in desk.store.register.standings() if one.serial == "M-4"]
    assert 'href="/runs/2"' in browser.get(f"/register/{standing.number}").text
    again = browser.get("/typed?again=2").text
    assert 'value="M-4" selected' in again and re.search(r'name="leads"[^>]*value="0.2"', again)
    record = record_in_store(desk.store, "000002")
    assert recompute(record).difference is None


def test_a_coarse_digit_of_a_named_meter_makes_the_result_less_sure(browser, desk):
    desk.store.register.add_text(METER_PAPER)
    browser.post("/typed", data=fields((("60", "604.0"), ("80", "336.0")), meter="M-4"))
    browser.post("/typed", data=fields((("60", "0.60k"), ("80", "0k34")), meter="M-4"))
    fine, coarse = (
        certificate_from_canonical(desk.store.certificates.get(number).files.canonical_json).points
        for number in ("000001", "000002")
    )
    for one, other in zip(fine, coarse, strict=True):
        [digit] = [line for line in other.budget.lines if line.quantity == "last digit of the meter"]
        assert digit.standard_u == pytest.approx(10.0 / math.sqrt(12.0))
        assert one.expanded_u_k < other.expanded_u_k


@pytest.mark.parametrize("loss", ["failed", "overdue", "unknown"])
def test_a_meter_that_nothing_may_rest_on_is_refused_beside_its_field(browser, desk, loss):
    paper = METER_PAPER.replace("2099", "2021") if loss == "overdue" else METER_PAPER
    desk.store.register.add_text(paper)
    if loss == "failed":
        desk.store.register.mark("meter", "M-4", Mark.FAILED, reason="fell off the bench")
    answer = browser.post("/typed", data=fields(meter="M-5" if loss == "unknown" else "M-4"))
    assert answer.status_code == 422 and 'id="meter-wrong"' in answer.text
    assert {"failed": "fell off the bench", "overdue": "was due on", "unknown": "holds no"}[
        loss
    ] in answer.text
    assert not desk.store.certificates.of_run(1)


def test_what_the_meters_certificate_does_not_cover_is_said_beside_that_resistance(browser, desk):
    [_, *above] = METER_PAPER.split("[[point]]")[1:]
    desk.store.register.add_text("[[point]]".join((METER_PAPER.split("[[point]]")[0], *above)))
    answer = browser.post("/typed", data=fields(meter="M-4"))
    assert answer.status_code == 422
    assert 'id="resistance_2-wrong"' in answer.text and "covers 1005 to 10050 Ω" in said(answer)
    both = browser.post("/typed", data=fields(meter="M-4", u_resistance_percent="0.5"))
    assert both.status_code == 422 and "says how sure it is" in both.text
    assert browser.post("/typed", data=fields(leads="0.2")).status_code == 422


def test_the_command_takes_a_meter_of_the_desks_register_as_the_page_does(browser, desk, tmp_path):
    desk.store.register.add_text(METER_PAPER)
    browser.post("/typed", data=fields(meter="M-4", leads="0.2"))
    points = tmp_path / "points.csv"
    points.write_text("temperature_c,resistance_ohm\n20,2506\n60,604\n80,336\n", "utf-8")
    ohmbath = [str(Path(sys.executable).parent / "ohmbath"), "check", str(points), "--curve", "ntc-310-80c"]
    named = [*ohmbath, "--json", "--data", str(desk.folder), "--meter"]
    printed = json.loads(
        subprocess.run([*named, "M-4", "--leads", "0.2"], capture_output=True, text=True).stdout
    )
    for point, paper in zip(printed["points"], issued(desk).points, strict=True):
        assert point["error_k"] == pytest.approx(paper.error_k, abs=1e-9)
        assert point["expanded_u_k"] == pytest.approx(paper.expanded_u_k, abs=1e-9)
    refused = subprocess.run([*named, "M-7"], capture_output=True, text=True)
    assert refused.returncode == 2 and "holds no meter with the serial 'M-7'" in refused.stderr


def test_a_meter_that_fails_before_the_curve_is_chosen_gives_no_paper(browser, desk):
    desk.store.register.add_text(METER_PAPER)
    browser.post("/typed", data=fields(meter="M-4", curve=FIND_OUT))
    desk.store.register.mark("meter", "M-4", Mark.FAILED, reason="its battery leaked")
    answer = browser.post("/typed/1/curve", data={"curve": "ntc-310-80c", "limit_k": "2"})
    assert "its battery leaked" in answer.text and not desk.store.certificates.of_run(1)
