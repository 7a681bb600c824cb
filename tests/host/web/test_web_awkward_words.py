"""Whatever is typed into whatever field of whatever page: taken as it is printed, or refused there."""

import html
import json
import re
import shutil
import unicodedata

import pytest
from sqlalchemy import select, update

from calibration.errors import CurveError
from host.store import schema
from host.typed_curve import curve_text_of_table
from host.web.app import create_app
from host.web.server import PageServer
from tests.host.web.filled_forms import A_ROUND, AN_INFRARED_CHECK
from tests.host.web.page_forms import pages_of

pytestmark = pytest.mark.slow

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
    "/infrared": AN_INFRARED_CHECK | {"item": "thermometer, tag 9", "serial": "I-9"},
    "/rounds": A_ROUND | {"artefact": "sender, tag 300"},
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
    "/stations/bench-1/sender-check": {"item": "tag 10", "curve": "ntc-310-80c", "set_points": "30 60 85"},
    "/stations/bench-1/ohms-check": {},
    "/witness-check": {"station": "bench-1", "serial": "W-1"},
    "/probe-check": {"ice_ohm": "5000", "ice_error_ohm": "30"},
    "/meter-check": {"subject": "meter", "serial": "M-7", "rows": "100 100.1"},
    "/settings": {},
    "/settings/shop": {"shop_name": "Plover & Tansy Motor Works"},
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
    "/settings/shop": ("shop_name", "shop_address"),
}
#: Presses that send no words, and words that are sent to a page which this desk does not show.
PRESSES = {
    "first_start.add_station", "first_start.room", "first_start.simulated", "first_start.stop_room",
    "first_start.stop_simulated", "in_place.skip", "in_place.strike", "infrared.go_on", "infrared.hands",
    "infrared.register", "infrared.shot", "meter_check.finish", "meter_check.register", "rounds.clip_in",
    "rounds.close", "rounds.read", "rounds.take_back", "runs.curve", "runs.hands", "runs.plateaus",
    "runs.press", "runs.stop", "typed.curve", "witness_check.hands", "witness_check.read",
}  # fmt: skip
OF_ACCOUNTS = ("drafts", "exercises", "people", "roster", "sign_in", "student")
#: Reasons that a page need not ask for; what is sent all the same is held against the same fonts.
UNASKED = ("/infrared/{infrared}/stop", "/rounds/{round}/stop", "/on-the-vehicle/{vehicle}/stop")


def hear_the_bench(desk):
    """The desk, its bench started anew and heard."""
    bench = desk.benches["bench-1"]
    bench.boot = "00000002-0000abcd"
    bench.say(boot=bench.boot)
    bench.read(40)
    return desk


def post(browser, action, data):
    answer = browser.post(action, data=data)
    assert answer.status_code < 500, (action, data)
    return answer


@pytest.fixture(scope="module")
def busy_desk(tmp_path_factory, _finished_folder, small_desk):
    """A desk with a certificate, and a bench that was just heard."""
    folder = tmp_path_factory.mktemp("words") / "desk"
    shutil.copytree(_finished_folder, folder)
    desk = small_desk(folder)
    yield hear_the_bench(desk)
    desk.close()


@pytest.fixture
def shop(busy_desk, browser_of):
    """Somebody at that desk."""
    return browser_of(busy_desk)


@pytest.fixture(scope="module")
def begun():
    """Open runs of the kinds that a page asks words for, begun once."""
    return {}


@pytest.fixture
def at_work(shop, begun):
    """Somebody at that desk, on which such runs are open."""
    if begun:
        return shop
    for name, action in (("infrared", "/infrared"), ("round", "/rounds"), ("vehicle", "/on-the-vehicle")):
        answer = post(shop, action, FILLED[action])
        assert answer.status_code == 303, answer.text
        begun[name] = answer.location.rsplit("/", 1)[1]
    shots = f"/infrared/{begun['infrared']}"
    for step in (1, 2, 3, 4):
        post(shop, f"{shots}/next", {"step": str(step)})
    for shown in ("45.0", "45.1", "44.9", "45.0", "52.0"):
        post(shop, f"{shots}/shot", {"shown": shown, "reference": "45"})
    for station in ("Station B", "Station D"):
        result = {"station": station, "value": "-4.1", "expanded_u": "0.1", "k": "2"}
        post(shop, f"/rounds/{begun['round']}/take", result)
    return shop


@pytest.fixture
def typed_into(at_work, begun, busy_desk):
    """Pages of the desk, address and text, after awkward words were typed into every form of every page."""
    if "pages" not in begun:
        found = {}
        for _, _, on_page in pages_of(at_work, "/", "/typed", without="?"):
            for form in on_page:
                if form.method == "post":
                    found.setdefault((form.action, tuple(form.words)), form)
        for (action, words), form in found.items():
            for text in (MARKUP, HIDDEN, REFUSED[0], WIDE):
                post(at_work, action, form.data | dict.fromkeys(words, text))
        for action in sorted(FILLED, key=lambda one: one.endswith("/withdraw")):  # amended before
            for text in (MARKUP[:60], HIDDEN, WIDE):
                post(at_work, action, FILLED[action] | dict.fromkeys(WORDS[action], text))
        begun["forms"] = found
        begun["pages"] = [
            (address, text) for address, text, _ in pages_of(at_work, "/", "/typed", without="?")
        ]
    return begun["pages"]


@pytest.mark.parametrize("text", REFUSED, ids=range(len(REFUSED)))
def test_words_that_no_certificate_can_print_are_refused_where_they_are_typed(at_work, begun, text):
    for action, filled in FILLED.items():
        for name in WORDS[action]:
            answer = post(at_work, action, filled | {name: text})
            assert answer.status_code in (409, 422), (action, name)
            why = ("fonts of the certificate", "cannot be printed", "there is room for", "of at most")
            assert any(words in answer.text for words in why), (action, name, answer.text[-3000:])
    for action in UNASKED:
        answer = post(at_work, action.format(**begun), {"reason": text})
        assert answer.status_code in (409, 422), action


def test_no_words_break_a_page_and_none_come_out_of_one_as_more_than_words(typed_into):
    for address, text in typed_into:
        assert "<script>alert" not in text and RUN not in re.sub(r'value="[0-9a-f]{64}"', "", text), address
        hidden = [one for one in text if unicodedata.category(one) in ("Cf", "Cc") and one not in "\n\t\r"]
        assert not hidden, (address, hidden)
    assert sum("&lt;script&gt;alert(7)" in text for _, text in typed_into) > 5


def test_every_form_of_a_desk_without_accounts_is_typed_into(typed_into, begun, shop):
    app = shop.application
    addresses = app.url_map.bind("localhost")
    actions = {action for action, _ in begun["forms"]} | set(FILLED)
    met = {addresses.match(action, method="POST")[0] for action in actions}
    posted = {rule.endpoint for rule in app.url_map.iter_rules() if "POST" in rule.methods}
    missed = {one for one in posted - met if one.split(".")[0] not in OF_ACCOUNTS}
    assert missed <= PRESSES, sorted(missed - PRESSES)


@pytest.mark.browser
def test_a_word_without_end_makes_no_page_wider_than_a_phone(typed_into, busy_desk, devices):
    addresses = [address for address, text in typed_into if WIDE in text]
    assert len(addresses) > 10
    server = PageServer(create_app(busy_desk), port=0)
    server.start()
    try:
        phone = devices(server.url, "phone")
        page = phone.page()
        for address in addresses:
            page.goto(server.url + address.lstrip("/"))
            phone.assert_fits(page)
    finally:
        server.stop()


def judged_once_more(desk, **changed):
    """A run with the readings of run 1, of which all is there but its result."""
    store = desk.store
    first, *rest = store.runs.events(1)
    settings = first[1]["settings"]
    run = store.runs.create(station="bench-1", kind="sender_check", settings=settings)
    events = [(first[0], first[1] | {"settings": settings | changed}), *rest[:-1]]
    for index, (kind, payload) in enumerate(events):
        store.runs.append(run, kind, payload, after=index)
    return run, events


def test_a_check_whose_certificate_cannot_be_printed_waits_read_and_judged_with_the_bench_free(
    finished_desk, browser_of, small_desk
):
    """Its first event is that of an older version, which took what no certificate can print."""
    run, events = judged_once_more(finished_desk, operator="工")
    finished_desk.close()
    desk = small_desk(finished_desk.folder)
    try:
        for _ in range(3):
            desk.lead()
        view = desk.runs.view(run)
        assert view.state.phase.value == "judging" and not view.state.is_over
        assert "'工'" in view.card.trouble and view.card.button == "Try again"
        assert desk.runs.open_run_of("bench-1") is None
        reader = browser_of(desk)
        assert "is not in the fonts of the certificate" in reader.get(f"/runs/{run}").text
        assert reader.get("/wall").status_code == reader.get("/").status_code == 200
        assert post(reader, f"/runs/{run}/press", {"step": str(view.card.step)}).status_code == 303
        desk.lead()
        assert desk.runs.view(run).card.trouble == view.card.trouble
        assert [(kind, dict(said)) for kind, said in desk.store.runs.events(run)] == events
    finally:
        desk.close()


def test_a_check_that_comes_to_its_paper_while_the_keys_are_away_is_let_out_once_they_are_back(
    finished_desk, browser_of, small_desk
):
    run, _ = judged_once_more(finished_desk)
    finished_desk.close()
    folder = finished_desk.folder
    (folder / "keys").rename(folder / "keys-away")
    desk = small_desk(folder)
    try:
        desk.lead()
        view = desk.runs.view(run)
        assert "keys" in view.card.trouble and not view.state.is_over
        shutil.rmtree(folder / "keys", ignore_errors=True)
        (folder / "keys-away").rename(folder / "keys")
        post(browser_of(desk), f"/runs/{run}/press", {"step": str(view.card.step)})
        desk.lead()
        assert desk.runs.view(run).state.certificate == "000002"
    finally:
        desk.close()


OLD_PROBE = {"certificate": "証明書 7"}


def test_no_run_begins_with_an_entry_of_an_older_version_that_no_certificate_can_print(
    finished_desk, browser_of
):
    shop = browser_of(hear_the_bench(finished_desk))
    with finished_desk.store._database.writing() as connection:
        table = schema.instruments
        row = connection.execute(select(table).where(table.c.kind == "probe")).one()
        content = json.dumps(json.loads(row.content) | OLD_PROBE, ensure_ascii=False)
        connection.execute(update(table).where(table.c.id == row.id).values(content=content))
    before = len(finished_desk.store.runs.all())
    for action in ("/stations/bench-1/sender-check", "/probe-check", "/witness-check"):
        answer = post(shop, action, FILLED[action])
        assert answer.status_code in (409, 422), action
        assert "register’s entry of probe P-1" in html.unescape(answer.text), action
    assert len(finished_desk.store.runs.all()) == before


def test_no_curve_is_kept_whose_words_no_certificate_can_print(finished_desk):
    toml = curve_text_of_table(title="Van", source="漢字手册, p. 12", table="20, 2300, 2600\n40, 1050, 1250")
    with pytest.raises(CurveError, match="source: '漢'"):
        finished_desk.store.curves.add("van", toml)
    assert finished_desk.store.curves.get("van") is None
