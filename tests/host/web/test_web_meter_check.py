"""A resistance meter and a decade box against each other, typed: pages, certificates, register, recompute."""

import math
import re
from datetime import date

import pytest

from host.certificates.canonical import certificate_from_canonical
from host.certificates.kind import Kind
from host.errors import DeskError
from host.procedures.authorisation import amend
from host.procedures.bench_setup import decade_box_of
from host.procedures.ohms.dial_rows import dial_rows_of, joined_leads_of
from host.procedures.ohms.meter_check import MeterChecks
from host.procedures.record.issued_record import record_in_store
from host.procedures.record.recompute import recompute
from host.procedures.record.record_folder import read_record, write_record
from host.procedures.run_kind import RunKind

pytestmark = pytest.mark.slow

METER_PAPER = """
kind = "meter"
serial = "M-9"
certificate = "R-77"
issuer = "nobody at all"
issued = 2020-01-01
due = 2099-01-01
k = 2.0
""" + "".join(
    f"[[point]]\nshown_ohm = {ohm}\ncorrection_ohm = {-2e-4 * ohm}\nexpanded_u_ohm = {3e-5 * ohm}\n"
    for ohm in (0.5, 10.0, 100.0, 1000.0, 10_000.0)
)
#: A box that gives a thousandth more than is dialled, read by a meter that shows 0.02 % too much.
BOX_ROWS = "0 0.250\n" + "\n".join(
    f"{digit * dial} {(digit * dial * 1.001 + 0.1) * 1.0002 + 0.15:.3f} "
    f"{(digit * dial * 1.001 + 0.1) * 1.0002 + 0.15:.3f}"
    for dial in (1, 10, 100, 1000)
    for digit in (1, 2, 4, 8)
)
#: A meter that shows a two-thousandth too little of the box D-1, whose residual is 0.4 Ω.
METER_ROWS = "\n".join(f"{ohm} {(ohm + 0.4) * 0.9995 + 0.15:.2f}" for ohm in (100, 500, 1000, 2000, 5000))


def typed(**changed: str) -> dict[str, str]:
    return {
        "subject": "meter", "serial": "M-1", "leads": "0.15", "rows": METER_ROWS, "moved_percent": "0.01",
        "limit_percent": "0.1", "limit_ohm": "0.2", "air": "23C", "operator": "Ida",
    } | changed  # fmt: skip


def checked(browser, **changed: str) -> int:
    answer = browser.post("/meter-check", data=typed(**changed))
    assert answer.status_code == 303, answer.text
    return int(answer.headers["Location"].rsplit("/", 1)[1])


@pytest.fixture
def shop(desk):
    """A desk without any rig: a box and a meter with certificates in its register."""
    desk.add_bench(real_papers=True)
    desk.store.register.add_text(METER_PAPER)
    return desk


def paper_of(shop, run):
    [issued] = shop.store.certificates.of_run(run)
    return issued.number, certificate_from_canonical(issued.files.canonical_json)


def test_a_meter_is_checked_by_the_box_and_its_errors_are_found(shop, browser):
    assert "Check a meter or a decade box" in browser.get("/register").text
    run = checked(browser)
    number, paper = paper_of(shop, run)
    assert paper.kind is Kind.RESISTANCE_METER and paper.operator == "Ida"
    assert paper.instruments[0].serial == "D-1" and paper.verdict.value == "in_tolerance"
    for point in paper.points:
        assert point.error_ohm == pytest.approx(-5e-4 * (point.setting_ohm + 0.4), abs=0.006)
        assert abs(point.error_ohm + 5e-4 * (point.setting_ohm + 0.4)) < point.expanded_u_ohm
        assert point.limit_ohm == pytest.approx(1e-3 * point.setting_ohm + 0.2)
    page = browser.get(f"/meter-check/{run}").text
    assert (
        "reads 0.05" in page
        and "too low" in page
        and "In tolerance" in page
        and "Enter it in the register" in page
    )
    assert "leads joined, last digit" in page and "as sender K" in page
    assert f'href="/meter-check/{run}"' in browser.get("/meter-check").text
    assert browser.get(f"/runs/{run}").headers["Location"] == f"/meter-check/{run}"
    assert "meter and box, by hand" in browser.get("/runs").text
    assert browser.get(f"/certificates/{number}.pdf").data[:4] == b"%PDF"


def test_the_checks_of_a_meter_are_its_history_in_the_register(tmp_path, small_desk, browser_of):
    clock = [1.8e9]
    shop = small_desk(tmp_path / "years", now=lambda: clock[0])
    shop.add_bench(real_papers=True)
    browser = browser_of(shop)
    first = checked(browser)
    browser.post(f"/meter-check/{first}/register")
    again = browser.post(f"/meter-check/{first}/register").headers["Location"]
    assert len([one for one in shop.store.register.all() if one.serial == "M-1"]) == 1
    assert "is in the register" in browser.get(f"/meter-check/{first}").text
    [kept] = [one for one in shop.store.register.all() if one.serial == "M-1"]
    assert kept.content["point"][0]["correction_ohm"] == pytest.approx(0.05, abs=0.006)
    # A year on it shows another two-thousandths less.
    clock[0] += 365.25 * 86_400.0
    later = "\n".join(f"{ohm} {(ohm + 0.4) * 0.9975 + 0.15:.2f}" for ohm in (100, 500, 1000, 2000, 5000))
    browser.post(f"/meter-check/{checked(browser, rows=later)}/register")
    page = browser.get(again).text
    said = re.findall(r'<p class="drift">(\S+) ± (\S+) Ω a year: it drifts', page)
    assert len(said) == 5
    for ohm, (drift, u) in zip((100, 500, 1000, 2000, 5000), said, strict=True):
        assert float(drift) == pytest.approx(0.002 * ohm, abs=float(u))
    shop.close()


def test_a_box_gets_its_certificate_by_the_meter_and_goes_into_the_register_by_one_press(shop, browser):
    run = checked(browser, subject="decade_box", serial="B-2", rows=BOX_ROWS, limit_percent="0.5")
    number, paper = paper_of(shop, run)
    assert paper.kind is Kind.DECADE_BOX and paper.instruments[0].serial == "M-9"
    assert paper.instruments[0].expanded_u == "0.0030 % of the value (k = 2)"  # 3e-5 at each of its points
    for point in paper.points:
        assert point.true_ohm == pytest.approx(point.setting_ohm * 1.001 + 0.1, abs=point.expanded_u_ohm)
        assert point.shown_ohm == point.setting_ohm
    # At 1 Ω it gives 1.101 Ω, which is 10.1 % more than is dialled.
    assert "gives 10.1 % more than is dialled" in paper.sentence
    assert dict(paper.conditions)["every dial at zero"].startswith("0.100 Ω")
    before = {one.serial for one in shop.store.register.all()}
    page = browser.post(f"/meter-check/{run}/register", follow_redirects=True).text
    assert {one.serial for one in shop.store.register.all()} - before == {"B-2"}
    assert f"certificate {number}" in page and "B-2" in page
    [entry] = [one for one in shop.store.register.all() if one.serial == "B-2"]
    assert entry.certificate == number and entry.issued == date.fromisoformat(paper.issued)
    box = decade_box_of(entry.content)
    assert box.true_ohm(4307) == pytest.approx(4307 * 1.001 + 0.1, abs=0.05)
    # It claims at least what each step's own U is.
    for point in paper.points:
        stated = math.hypot(box.relative_standard_u() * point.true_ohm, box.fixed_standard_u_ohm())
        assert stated >= point.expanded_u_ohm / point.k


@pytest.mark.parametrize("subject", ["meter", "decade_box"])
def test_its_certificate_is_worked_out_again_here_and_elsewhere(shop, browser, tmp_path, subject):
    rows = METER_ROWS if subject == "meter" else BOX_ROWS
    number, paper = paper_of(shop, checked(browser, subject=subject, rows=rows))
    record = record_in_store(shop.store, number)
    again = recompute(record)
    assert again.difference is None and len(again.rows) > 6 * len(paper.points)
    names = write_record(shop.store, record, tmp_path / subject)
    assert "register.json" in names
    assert recompute(read_record(tmp_path / subject)).difference is None


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"rows": "1000 999.8\n2000 1.9996"}, "Line 2: the meter showed 1.9996 Ω at 2000 Ω"),
        ({"rows": "1000 999.8\n\n2000"}, "Line 3: write what the meter showed"),
        ({"rows": "1000 999,8"}, "write decimals with a point"),
        ({"rows": "1000 OL"}, "is no resistance"),
        ({"rows": "1000 999.8\n1000 999.9"}, "stands twice"),
        ({"rows": "1000.5 999.8"}, "is no setting of dials"),
        ({"rows": "1000 999.8\n2000 1999"}, "Read 3 settings of the dials at least"),
        ({"rows": "100 100.1\n200 200.1\n99999 99999"}, "At 99999 Ω"),
        ({"leads": "a bit"}, "is no resistance"),
        ({"serial": ""}, "Write the serial"),
        ({"subject": "kettle"}, "Choose which of the two"),
        ({"moved_percent": "-1"}, "Write a number from 0"),
        ({"air": "warm"}, "warm"),
        ({"subject": "decade_box", "serial": "B-2", "rows": "0 0.2\n100 100.1\n200 200.1\n20000 20001"},
         "outside"),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_said_beside_its_field_and_stays_typed(shop, browser, changed, words):
    answer = browser.post("/meter-check", data=typed(**changed))
    assert answer.status_code == 422 and words in answer.text
    assert typed(**changed)["rows"].splitlines()[0] in answer.text
    assert not shop.store.runs.all()


def test_a_box_that_was_not_read_at_zero_stays_out_of_the_register(shop, browser):
    rows = "\n".join(line for line in BOX_ROWS.splitlines() if not line.startswith("0 "))
    run = checked(browser, subject="decade_box", serial="B-2", rows=rows)
    answer = browser.post(f"/meter-check/{run}/register")
    assert answer.status_code >= 400 and "not read with every dial at zero" in answer.text
    assert not [one for one in shop.store.register.all() if one.serial == "B-2"]


def test_a_desk_killed_before_the_paper_goes_on_to_it(shop, browser, monkeypatch):
    def killed(*args: object, **options: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr("host.procedures.ohms.meter_check.let_out", killed)
        with pytest.raises(KeyboardInterrupt):
            browser.post("/meter-check", data=typed())
    [run] = shop.store.runs.open(RunKind.METER_CHECK)
    assert not shop.store.certificates.of_run(run.number)
    assert "Issue the certificate now" in browser.get(f"/meter-check/{run.number}").text
    for _ in range(2):
        assert browser.post(f"/meter-check/{run.number}/paper").status_code == 303
    number, _ = paper_of(shop, run.number)
    assert recompute(record_in_store(shop.store, number)).difference is None
    assert not shop.store.runs.open(RunKind.METER_CHECK)


def test_without_a_reference_it_says_what_to_add(desk, browser):
    assert "The register holds no decade box in use" in browser.get("/meter-check").text
    answer = browser.post("/meter-check", data=typed())
    assert answer.status_code == 422 and "The register holds no decade box in use" in answer.text
    assert browser.get("/meter-check/1").status_code == 404


def test_rows_are_read_as_they_are_displayed():
    rows = dial_rows_of("2000 2.0003k 2.000k\n 0 0.35\n1000;999.8")
    assert [row.setting_ohm for row in rows] == [0.0, 1000.0, 2000.0]
    assert rows[2].shown_ohm == pytest.approx((2000.3, 2000.0)) and rows[2].resolution_ohm == pytest.approx(
        1.0
    )
    assert rows[1].resolution_ohm == pytest.approx(0.1) and rows[0].resolution_ohm == pytest.approx(0.01)
    assert joined_leads_of("") is None and joined_leads_of("0.12 0.13").mean_ohm == pytest.approx(0.125)
    with pytest.raises(DeskError, match="80 lines at most"):
        dial_rows_of("1 1\n" * 81)


def test_a_run_of_another_kind_is_no_such_check(shop, browser):
    number = shop.store.runs.create(station="bench-1", kind=RunKind.SENDER_CHECK, settings={})
    with pytest.raises(DeskError, match="is no check of a meter"):
        MeterChecks(shop.store).settings(number)


def test_nothing_rests_on_an_entry_whose_certificate_was_withdrawn_and_every_page_says_so(shop, browser):
    laboratory = METER_PAPER.replace('"M-9"', '"M-1"')
    shop.store.register.add_text(laboratory)
    run = checked(browser)
    page = browser.post(f"/meter-check/{run}/register").headers["Location"]
    number, _ = paper_of(shop, run)
    assert f"{number}, Plover" in browser.get(page).text
    sender = {
        "item": "sender, tag 7",
        "curve": "ntc-310-80c",
        "rule": "guarded",
        "judge": "judge",
        "meter": "M-1",
    }
    sender |= {"temperature_1": "60", "resistance_1": "604.0", "temperature_2": "80", "resistance_2": "336.0"}
    assert browser.post("/typed", data=sender).status_code == 303
    shop.store.certificates.withdraw(number, "the box was read in kilohms", by="Ida")
    refused = browser.post("/typed", data=sender)
    assert refused.status_code == 422 and "withdrawn on" in refused.text and "in kilohms" in refused.text
    shown = browser.get(page).text
    assert f"<s>{number}, Plover &amp; Tansy Motor Works" in shown and "withdrawn</b>" in shown
    assert "Nothing may rest on it" in shown and "(in force)" not in shown
    assert "certificate withdrawn" in browser.get("/register").text
    history = browser.get("/meter-check").text
    assert "certificate withdrawn" in history and "<s>−0.0" in history
    result = browser.get(f"/meter-check/{run}").text
    assert "This paper no longer holds" in result and '<s class="verdict plain">' in result
    # A person may go back to the certificate before it, and says why.
    browser.post(f"{page}/mark", data={"mark": "in_use", "reason": "the laboratory's certificate holds"})
    assert browser.post("/typed", data=sender).status_code == 303
    last = shop.store.certificates.all()[-1]
    [used] = certificate_from_canonical(last.files.canonical_json).instruments
    assert used.certificate == "R-77, nobody at all"


def test_the_certificate_of_another_house_that_bears_a_withdrawn_number_still_holds(shop, browser):
    run = checked(browser)
    number, _ = paper_of(shop, run)
    shop.store.certificates.withdraw(number, "typed for another meter", by="Ida")
    shop.store.register.add_text(METER_PAPER.replace('"R-77"', f'"{number}"'))
    [standing] = [one for one in shop.store.register.standings() if one.serial == "M-9"]
    assert standing.refusal(date(2026, 1, 1), {}) is None
    own = METER_PAPER.replace('"R-77"', f'"{number}"').replace(
        '"nobody at all"', '"plover & Tansy  Motor Works"'
    )
    shop.store.register.add_text(own.replace('"M-9"', '"M-8"'))
    [standing] = [one for one in shop.store.register.standings() if one.serial == "M-8"]
    assert "typed for another meter" in (standing.refusal(date(2026, 1, 1), {}) or "")
    with pytest.raises(DeskError, match="was withdrawn before this came to its result"):
        shop.store.register.refuse_if_lost(
            standing.in_force.content, today=date(2026, 1, 1), months_by_kind={}
        )


def test_a_superseded_certificate_of_an_entry_is_named_with_the_one_in_its_place(shop, browser):
    run = checked(browser)
    page = browser.post(f"/meter-check/{run}/register").headers["Location"]
    number, _ = paper_of(shop, run)
    new = amend(
        shop.store, number, {"item": "Resistance meter M-1, left bench"}, "it was found", by=""
    ).number
    shown = browser.get(page).text
    assert f"superseded by {new}" in shown and "numbers stand unchanged" in shown and "(in force)" in shown
    assert "Enter it in the register" in browser.get(f"/meter-check/{run}").text
    shop.store.certificates.withdraw(new, "the leads were broken", by="")
    [standing] = [one for one in shop.store.register.standings() if one.serial == "M-1"]
    assert "the leads were broken" in (standing.refusal(date(2026, 1, 1), {}) or "")


def test_a_page_of_several_boxes_asks_which_and_a_box_stays_where_it_is_kept(shop, browser):
    other = shop.store.register.current("decade_box").content
    steps = "".join(
        f"[[step]]\nnominal_ohm = {one['nominal_ohm']}\ncertified_ohm = {one['certified_ohm'] * 1.01}\n"
        for one in other["step"]
    )
    shop.store.register.add_text(
        'kind = "decade_box"\nserial = "D-2"\ncertificate = "R-5"\nissuer = "nobody at all"\n'
        f"issued = 2020-01-01\nresidual_ohm = {other['residual_ohm']}\nexpanded_u_relative = 1e-4\n"
        f'expanded_u_ohm = 0.03\nk = 2.0\nstation = "bench-2"\n{steps}'
    )
    unsaid = browser.post("/meter-check", data=typed())
    assert unsaid.status_code == 422 and 'id="against_decade_box-wrong"' in unsaid.text
    assert 'value="D-2" selected' in browser.get("/meter-check?station=bench-2").text
    _, by_one = paper_of(shop, checked(browser, against_decade_box="D-1"))
    _, by_other = paper_of(shop, checked(browser, against_decade_box="D-2"))
    assert (by_one.instruments[0].serial, by_other.instruments[0].serial) == ("D-1", "D-2")
    for one, other_point in zip(by_one.points, by_other.points, strict=True):
        assert other_point.true_ohm - 0.4 == pytest.approx(1.01 * (one.true_ohm - 0.4), rel=1e-6)
    run = checked(browser, subject="decade_box", serial="D-2", rows=BOX_ROWS)
    browser.post(f"/meter-check/{run}/register")
    [standing] = [one for one in shop.store.register.standings() if one.serial == "D-2"]
    assert len(standing.certificates) == 2 and standing.station == "bench-2"
    assert shop.store.register.current("decade_box", station="bench-2").serial == "D-2"
