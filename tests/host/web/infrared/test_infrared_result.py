"""What came of an infrared check: its result, its certificate, the lists it stands in."""

import io
from xml.etree import ElementTree

import pytest
from pypdf import PdfReader

from host.certificates.canonical import certificate_from_canonical
from host.procedures.infrared.infrared_check import Kind
from host.procedures.logged import events_of
from host.procedures.record.issued_record import record_in_store
from host.procedures.record.recompute import recompute
from tests.host.web.infrared.steps import begin, plain, text_of, whole_check, words_on

pytestmark = pytest.mark.slow


def test_a_thermometer_typed_by_hand_gets_its_certificate_and_its_corrections_reach_the_vehicle(
    browser, desk
):
    assert begin(browser).headers["Location"] == "/infrared/1"
    assert "half an hour" in text_of(browser, "/infrared/1")
    whole_check(browser, 9.0)
    page = text_of(browser, "/infrared/1")
    assert "outside its limits" in page and "too high at 46 °C (115 °F)" in page
    assert "Neither its setting nor a dirty lens explains its error" in page
    assert "correction K" in page and "emissivity of the surface" in page
    paper = desk.store.certificates.get("000001")
    assert paper.files.pdf.startswith(b"%PDF")
    printed = words_on(paper.files.pdf)
    assert "correction" in printed and "As in ASTM E2847" in printed
    # The largest error and its correction stand on one row, one the other with the other sign.
    error_k = certificate_from_canonical(paper.files.canonical_json).points[-1].error_k
    assert f"+{error_k:.1f}" in printed and f"−{error_k:.1f}" in printed
    assert "J-9" in paper.files.canonical_json.decode("utf-8")
    assert browser.post("/infrared/1/register").status_code == 303
    assert "are in the register" in text_of(browser, "/infrared/1")
    entry = desk.store.register.standing("infrared", "I-7").in_force
    # By hand: its face is 2.5 % of 67 K warmer than 90 °C, 0.95 set on 0.96 shows 0.5 K more: 99 - 92.2 K.
    assert entry.certificate == "000001"
    assert entry.content["point"][-1]["correction_k"] == pytest.approx(-6.8, abs=0.15)
    vehicle = {"item": "the blue van", "curve": "ntc-2k5-20c"}
    where = browser.post("/on-the-vehicle", data=vehicle).headers["Location"]
    browser.post(f"{where}/read", data={"step": "thermostat", "thermostat": "fully open"})
    for step in ("scan_data", "gauge"):
        browser.post(f"{where}/skip", data={"step": step})
    spot = {"surface": "vinyl electrical tape", "set_emissivity": "0.95", "surroundings": "40"}
    browser.post(f"{where}/read", data={"step": "head", "shown": "90", "thermometer": "I-7", **spot})
    assert "K for thermometer I-7, certificate 000001" in text_of(browser, where)


def test_the_certificate_says_which_thermometer_it_is_of_and_whose_limit_it_was_held_against(browser, desk):
    """ISO/IEC 17025:2017, 7.8.2.1 g: unambiguous identification of the item, on each of the three forms."""
    begin(browser, smallest_spot_mm="16", accuracy_percent="2", item="the shop's thermometer")
    whole_check(browser, 1.0)
    files = desk.store.certificates.get("000001").files
    facts = {
        "serial": "I-7",
        "last_digit": "0.1 K",
        "distance_to_spot": "12 : 1, smallest spot 16 mm",
        "emissivity_setting": "0.95, can be set",
        "accuracy": "±2 K or ±2 % of the reading",
        "limit_words": "its maker's accuracy, the larger of the two",
        "band": "8 to 14 µm",
    }
    body = certificate_from_canonical(files.canonical_json).body
    assert {name: getattr(body, name) for name in facts} == facts
    first_page = " ".join(PdfReader(io.BytesIO(files.pdf)).pages[0].extract_text().split())
    root = ElementTree.fromstring(PdfReader(io.BytesIO(files.pdf)).attachments["certificate.xml"][0])
    in_xml = [element.text for element in root.iter() if element.text]
    for words in facts.values():
        assert words in first_page
        assert any(words in text for text in in_xml)
    item = root.find(".//{*}items/{*}item")
    assert "I-7" in [element.text for element in item.iterfind(".//{*}identification/{*}value")]


def test_the_contact_reference_of_a_check_by_hand_brings_its_certificate_to_the_paper(browser, desk):
    paper = {
        "reference_certificate": "K 77",
        "reference_issuer": "Heron Laboratory",
        "reference_due": "2099-03-01",
    }
    half = begin(browser, **paper | {"reference_issuer": ""})
    assert half.status_code == 422 and 'id="reference_issuer-wrong"' in half.text
    late = begin(browser, **paper | {"reference_due": "2020-03-01"})
    assert late.status_code == 422 and "was due on 2020-03-01" in late.text
    begin(browser, **paper)
    whole_check(browser, 0.5)
    begin(browser, serial="I-8")
    whole_check(browser, 0.5, run=2)
    certified, bought = (
        certificate_from_canonical(desk.store.certificates.get(number).files.canonical_json).instruments[0]
        for number in ("000001", "000002")
    )
    assert (certified.certificate, certified.due) == ("K 77, Heron Laboratory", "2099-03-01")
    assert certified.expanded_u == "within 0.5 K by certificate K 77, Heron Laboratory"
    assert bought.certificate == "none, as bought, its maker"
    assert bought.expanded_u == "within 0.5 K by its maker's word"
    page = plain(browser.get("/infrared/1"))
    assert "certificate K 77, Heron Laboratory, within 0.5 K by that certificate" in page
    assert "what is read by hand (calibration temperature)" in page
    kind = certificate_from_canonical(desk.store.certificates.get("000001").files.canonical_json).body.target
    assert page.count(kind) == 1  # under Target, and not once more under Conditions
    log = events_of(desk.store, 1)
    [said, *_] = [one.payload["reference_words"] for one in log if one.kind == Kind.SHOT]
    assert said == "T-2 said 45 °C, by certificate K 77, Heron Laboratory"


def test_a_certificate_comes_out_the_same_from_what_was_kept(browser, desk):
    begin(browser)
    whole_check(browser, 3.0)
    assert recompute(record_in_store(desk.store, "000001")).difference is None


@pytest.mark.parametrize(
    ("target", "said", "unsaid"),
    [
        ("taped_face", "decides more than a thermometer taped on", "best target there is"),
        ("painted_face", "A cavity in the bath decides more than a plate", "taped on"),
        ("immersed_cavity", "best target there is here", "taped on"),
    ],
)
def test_what_would_decide_more_is_another_target_than_the_one_that_was_shot(browser, target, said, unsaid):
    begin(browser, target=target, limit_k="1.5")
    whole_check(browser, 1.5)
    page = text_of(browser, "/infrared/1")
    assert "The limit lies inside the uncertainty of this target" in page
    assert said in page and unsaid not in page
    assert "A probe that the bench reads decides more than one read by hand" in page


def test_the_newest_checks_are_listed_with_their_verdicts(browser):
    begin(browser)
    assert "open" in newest(browser)
    whole_check(browser, 9.0)
    assert "out of tolerance" in newest(browser).lower()


def newest(browser):
    return text_of(browser, "/infrared").partition('id="newest-title"')[2]


def test_a_check_is_in_the_list_of_runs_and_can_be_stopped(browser):
    begin(browser)
    assert "tag I-7" in text_of(browser, "/runs")
    assert browser.get("/runs/1").headers["Location"] == "/infrared/1"
    browser.post("/infrared/1/stop", data={"reason": "battery empty"})
    assert "battery empty" in text_of(browser, "/infrared/1")
    assert "stopped" in text_of(browser, "/runs")
