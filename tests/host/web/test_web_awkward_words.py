"""Whatever is typed into whatever field of whatever page: taken as it is printed, or refused beside the field."""

import importlib.util
import re
import sys
import unicodedata
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

_SPEC = importlib.util.spec_from_file_location("page_forms", Path(__file__).with_name("page_forms.py"))
page_forms = importlib.util.module_from_spec(_SPEC)
sys.modules["page_forms"] = page_forms
_SPEC.loader.exec_module(page_forms)

#: 6199 times 7 is 43393, which a text becomes where a page works it out.
MARKUP = "</textarea><script>alert(7)</script>\"'><b>{{ 6199*7 }}{% raw %} &amp;"
RUN = "43393"
WIDE = "W" * 64
#: A control sequence of a terminal, a letter that no certificate has, and a text that never ends.
REFUSED = ("\x1b[31mred", "bell \x07", "漢字", "\U0001f525", "x" * 5000)
#: Marks that turn the direction of writing, and nothing else: taken out, so that nothing is left.
HIDDEN = "\u202e\u2066\u200f"

FILLED = {
    "/typed": {"item": "sender, tag 8", "curve": "ntc-310-80c", "rule": "guarded", "judge": "judge"}
    | {"temperature_1": "60", "resistance_1": "604", "temperature_2": "80", "resistance_2": "336"},
    "/infrared": {
        "item": "thermometer, tag 9", "thermometer": "entered", "serial": "I-9", "resolution_k": "0.1",
        "accuracy_k": "2", "emissivity": "settable", "distance_to_spot": "12", "band_from_um": "8",
        "band_to_um": "14", "reference": "entered", "reference_serial": "T-2", "reference_resolution_k": "0.1",
        "reference_u_k": "0.5", "target": "taped_face", "surface": "ultra-flat black spray paint",
        "target_mm": "100", "distance_mm": "300", "set_emissivity": "0.95", "air": "23",
        "set_points": "45 65 90",
    },
    "/rounds": {
        "artefact": "sender, tag 300", "quantity": "error", "at": "60", "curve": "ntc-310-80c",
        "reference_way": "typed", "reference_value": "-4.2", "reference_u": "0.1", "reference_k": "2",
        "reference_words": "certificate 4/31", "more_stations": "Station B, Station C", "kept": "in its boot",
    },
    "/on-the-vehicle": {"item": "the blue van", "curve": "ntc-2k5-20c"},
    "/curves/add": {
        "title": "Sender of a van", "source": "Manual, page 12", "table": "20, 2300, 2600\n40, 1050, 1250",
    },
    "/register/add": {
        "kind": "meter", "serial": "M-1", "certificate": "K 9", "issuer": "somebody", "issued": "2025-05-01",
        "k": "2", "point": "0.5 0 0.1\n100 0.1 0.1\n1000 0.2 0.3",
    },
    "/register/1/mark": {"mark": "in_use", "reason": "chosen"},
    "/certificates/000001/amend": {"why": "typed wrong"},
    "/certificates/000001/withdraw": {"reason": "typed wrong"},
    "/stations/bench-1/sender-check": {"item": "sender, tag 10"},
    "/stations/bench-1/ohms-check": {},
    "/witness-check": {"station": "bench-1", "serial": "W-1"},
    "/probe-check": {"ice_ohm": "5000", "ice_error_ohm": "30"},
    "/meter-check": {"subject": "meter", "serial": "M-7", "rows": "100 100.1"},
    "/settings": {},
}  # fmt: skip
#: Fields whose words are kept; those of numbers, days and names of things are refused by what they are.
WORDS = {
    "/typed": ("item", "customer", "customer_contact", "place", "job", "operator"),
    "/infrared": ("item", "serial", "customer", "customer_contact", "place", "job", "operator"),
    "/rounds": ("artefact", "kept", "job", "operator", "reference_words", "more_stations"),
    "/on-the-vehicle": ("item", "job", "operator"),
    "/curves/add": ("title", "source", "note", "wiring"),
    "/register/add": ("serial", "certificate", "issuer"),
    "/register/1/mark": ("reason",),
    "/certificates/000001/amend": ("item", "customer", "place", "item_condition", "why"),
    "/certificates/000001/withdraw": ("reason",),
    "/stations/bench-1/sender-check": ("item", "customer", "place", "job", "connector_notes", "operator"),
    "/stations/bench-1/ohms-check": ("operator",),
    "/witness-check": ("serial",),
    "/probe-check": ("operator",),
    "/meter-check": ("serial", "operator"),
    "/settings": ("shop_name", "shop_address"),
}
#: Reasons that a page need not ask for; what is sent all the same is held against the same fonts.
UNASKED = ("/infrared/{infrared}/stop", "/rounds/{round}/stop", "/on-the-vehicle/{vehicle}/stop")


def post(browser, action, data):
    answer = browser.post(action, data=data)
    assert answer.status_code < 500, (action, data)
    return answer


@pytest.fixture
def shop(finished_desk, browser_of):
    """A desk with a certificate, and an open run of every kind that a page asks words for."""
    browser = browser_of(finished_desk)
    begun = {}
    for name, action in (("infrared", "/infrared"), ("round", "/rounds"), ("vehicle", "/on-the-vehicle")):
        answer = post(browser, action, FILLED[action])
        assert answer.status_code == 303, answer.text
        begun[name] = answer.location.rsplit("/", 1)[1]
    shots = f"/infrared/{begun['infrared']}"
    for step in (1, 2, 3, 4):
        post(browser, f"{shots}/next", {"step": str(step)})
    for shown in ("45.0", "45.1", "44.9", "45.0", "52.0"):
        post(browser, f"{shots}/shot", {"shown": shown, "reference": "45"})
    for station in ("Station B", "Station D"):
        result = {"station": station, "value": "-4.1", "expanded_u": "0.1", "k": "2"}
        post(browser, f"/rounds/{begun['round']}/take", result)
    browser.begun = begun
    return browser


@pytest.fixture
def forms(shop):
    """Forms by where they go and what they ask for."""
    found = {}
    for _, _, on_page in page_forms.pages_of(shop, without="?"):
        for form in on_page:
            if form.method == "post":
                found.setdefault((form.action, tuple(form.words)), form)
    return found


def test_no_words_break_a_page_and_none_come_out_of_one_as_more_than_words(shop, forms):
    for (action, words), form in forms.items():
        for text in (MARKUP, HIDDEN, *REFUSED, WIDE):
            post(shop, action, form.data | dict.fromkeys(words, text))
    for action, filled in FILLED.items():
        for text in (MARKUP[:60], HIDDEN, WIDE):
            post(shop, action, filled | dict.fromkeys(WORDS[action], text))
    said = 0
    for address, text, _ in page_forms.pages_of(shop, without="?"):
        said += "&lt;script&gt;alert(7)" in text
        assert "<script>alert" not in text and RUN not in re.sub(r'value="[0-9a-f]{64}"', "", text), address
        hidden = [one for one in text if unicodedata.category(one) in ("Cf", "Cc") and one not in "\n\t\r"]
        assert not hidden, (address, hidden)
    assert said > 5


@pytest.mark.parametrize("text", REFUSED, ids=range(len(REFUSED)))
def test_words_that_no_certificate_can_print_are_refused_where_they_are_typed(shop, text):
    for action, filled in FILLED.items():
        for name in WORDS[action]:
            answer = post(shop, action, filled | {name: text})
            assert answer.status_code in (409, 422), (action, name)
            why = ("fonts of the certificate", "cannot be printed", "there is room for", "one line of at most")
            assert any(words in answer.text for words in why), (action, name, answer.text[-3000:])
    for action in UNASKED:
        answer = post(shop, action.format(**shop.begun), {"reason": text})
        assert answer.status_code == 409, action
