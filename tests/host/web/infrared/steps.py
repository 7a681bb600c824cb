"""Presses of an infrared check over its pages, as somebody at the desk makes them."""

import io

from pypdf import PdfReader

from tests.host.web.filled_forms import AN_INFRARED_CHECK


def begin(browser, **changed):
    return browser.post("/infrared", data=AN_INFRARED_CHECK | changed)


def press(browser, step, run=1):
    return browser.post(f"/infrared/{run}/next", data={"step": str(step)})


def set_up(browser, run=1):
    for step in (1, 2, 3, 4):
        press(browser, step, run)


def shot(browser, shown, reference="45", run=1, **more):
    return browser.post(f"/infrared/{run}/shot", data={"shown": shown, "reference": reference, **more})


def settle(bench, at_c):
    bench.bath_c, bench.heater_c = at_c, None
    bench.say()
    bench.read(100)


def whole_rest(browser, bench=None, points=("65", "90"), run=1, first=5):
    """The set points after the first, shot without an error to speak of, and the certificate."""
    press(browser, first, run)
    for step, point in enumerate(points, start=first + 1):
        if bench is not None:
            settle(bench, float(point))
        for _ in range(3):
            assert shot(browser, point, point, run).status_code == 303
        press(browser, step, run)
    press(browser, first + len(points) + 1, run)


def whole_check(browser, off_k, run=1):
    set_up(browser, run)
    for step, point in ((5, 45.0), (6, 65.0), (7, 90.0)):
        for noise in (0.0, 0.1, -0.1):
            answer = shot(browser, f"{point + off_k + noise:.1f}", f"{point}", run)
            assert answer.status_code == 303
        press(browser, step, run)
    press(browser, 8, run)


def at_the_head(browser, thermometer="I-7", **changed):
    """A spot on the vehicle with a thermometer of the register, and where it went."""
    vehicle = {"item": "the blue van", "curve": "ntc-2k5-20c"}
    where = browser.post("/on-the-vehicle", data=vehicle).headers["Location"]
    browser.post(f"{where}/read", data={"step": "thermostat", "thermostat": "fully open"})
    for step in ("scan_data", "gauge"):
        browser.post(f"{where}/skip", data={"step": step})
    spot = {"surface": "vinyl electrical tape", "set_emissivity": "0.95", "surroundings": "40", **changed}
    spot |= {"step": "head", "shown": "90", "thermometer": thermometer}
    return browser.post(f"{where}/read", data=spot)


def plain(answer):
    return answer.text.replace("\N{NO-BREAK SPACE}", " ")


def text_of(browser, address):
    return plain(browser.get(address))


def words_on(pdf):
    """Text of a paper, its lines joined."""
    return " ".join(" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages)
