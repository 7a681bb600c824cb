"""Corrections in the register: of as found and as left, and where they correct no spot."""

import pytest

from tests.host.web.infrared.steps import at_the_head, begin, plain, press, set_up, shot, text_of, whole_check

pytestmark = pytest.mark.slow


def test_the_check_as_left_is_one_of_the_same_thermometer(browser):
    begin(browser)
    whole_check(browser, 6.0)
    other = begin(browser, as_left_of="1", done="lens wiped", serial="OTHER-99")
    assert other.status_code == 422
    assert "Run 0001 found thermometer I-7, and this is thermometer OTHER-99" in plain(other)
    assert begin(browser, as_left_of="1", done="lens wiped").status_code == 303


def test_as_left_stands_beside_as_found(browser, desk):
    begin(browser)
    whole_check(browser, 6.0)
    page = text_of(browser, "/infrared?as_left_of=1")
    assert "as left" in page and 'value="I-7"' in page
    refused = begin(browser, as_left_of="1")
    assert refused.status_code == 422 and "Write what was done" in refused.text
    begin(browser, as_left_of="1", done="emissivity set back to 0.95")
    whole_check(browser, 1.0, run=2)
    page = text_of(browser, "/infrared/2")
    assert "As found and as left" in page and "emissivity set back to 0.95" in page
    assert "run 0002" in text_of(browser, "/infrared/1")


def test_what_was_found_before_an_adjustment_never_overrules_what_was_left_after_it(browser, desk):
    begin(browser)
    whole_check(browser, 6.0)
    begin(browser, as_left_of="1", done="emissivity set back to 0.95")
    # From here on nobody knows what it shows: the check as left is not done.
    refused = browser.post("/infrared/1/register")
    assert refused.status_code == 409
    assert "of before it was adjusted (emissivity set back to 0.95)" in plain(refused)
    whole_check(browser, 1.0, run=2)
    assert browser.post("/infrared/2/register").status_code == 303
    assert browser.post("/infrared/1/register").status_code == 409
    page = text_of(browser, "/infrared/1")
    assert "go on with check 0002" in page and "Put its corrections into the register" not in page
    assert desk.store.register.standing("infrared", "I-7").in_force.certificate == "000002"


def test_where_an_adjustment_is_proposed_the_check_as_left_comes_first(browser):
    """A switch at 0.70 in place of 0.95 shows too much everywhere, the more the hotter the target."""
    begin(browser)
    set_up(browser)
    for step, point, off_k in ((5, 45.0, 8.3), (6, 65.0, 15.6), (7, 90.0, 24.5)):
        for noise in (0.0, 0.1, -0.1):
            shot(browser, f"{point + off_k + noise:.1f}", f"{point}")
        press(browser, step)
    press(browser, 8)
    page = text_of(browser, "/infrared/1")
    assert "works with an emissivity of" in page
    first = page.index('class="press" href="/infrared?as_left_of=1"')
    assert first < page.index("If it stays as it is, put its corrections")
    assert page.count("as_left_of=1") == 1
    assert '<button class="quiet">Put its corrections' in page


def test_a_thermometer_that_was_adjusted_since_corrects_no_spot_until_it_is_checked_as_left(browser, desk):
    begin(browser)
    whole_check(browser, 6.0)
    browser.post("/infrared/1/register")
    assert at_the_head(browser).status_code == 303
    run = (
        begin(browser, as_left_of="1", done="emissivity set back to 0.95").headers["Location"].split("/")[-1]
    )
    answer = at_the_head(browser)
    assert answer.status_code == 422
    assert "was adjusted since its certificate 000001 (emissivity set back to 0.95)" in plain(answer)
    whole_check(browser, 1.0, run=run)
    browser.post(f"/infrared/{run}/register")
    assert at_the_head(browser).status_code == 303


def test_corrections_found_at_one_setting_correct_no_spot_that_was_shot_at_another(browser, desk):
    begin(browser)
    whole_check(browser, 1.0)
    browser.post("/infrared/1/register")
    content = desk.store.register.standing("infrared", "I-7").in_force.content
    assert (content["certified_emissivity"], content["band_from_um"], content["band_to_um"]) == (
        0.95,
        8.0,
        14.0,
    )
    answer = at_the_head(browser, set_emissivity="0.6")
    assert answer.status_code == 422
    assert "set to 0.95, not 0.6. Set it to 0.95 and shoot again" in plain(answer)
    assert at_the_head(browser, set_emissivity="0.95").status_code == 303
    assert "certified at a setting of" in text_of(browser, "/register/1")


def test_a_withdrawn_certificate_corrects_no_spot(browser, desk):
    begin(browser)
    whole_check(browser, 1.0)
    browser.post("/infrared/1/register")
    assert at_the_head(browser).status_code == 303
    desk.store.certificates.withdraw("000001", reason="the contact thermometer was broken", by="")
    answer = at_the_head(browser)
    assert answer.status_code == 422
    assert "was withdrawn" in plain(answer) and "the contact thermometer was broken" in plain(answer)
    assert browser.post("/infrared/1/register").status_code == 409


def test_a_comparison_does_not_come_to_an_end_on_a_certificate_that_was_withdrawn_meanwhile(browser, desk):
    begin(browser)
    whole_check(browser, 1.0)
    browser.post("/infrared/1/register")
    where = at_the_head(browser).headers["Location"].partition("?")[0]
    spot = {"surface": "rubber", "set_emissivity": "0.95", "surroundings": "40", "shown": "85"}
    browser.post(f"{where}/read", data={"step": "outlet_hose", "thermometer": "", **spot})
    assert 'href="/runs/2"' in text_of(browser, "/register/1")  # where it was used
    desk.store.certificates.withdraw("000001", reason="the contact thermometer was broken", by="")
    refused = browser.post(f"{where}/finish")
    assert refused.status_code == 409
    assert "was withdrawn" in plain(refused) and "Strike out the reading of the head first" in plain(refused)
    assert desk.store.certificates.of_run(2) == []
    browser.post(f"{where}/strike", data={"step": "head"})
    assert 'href="/runs/2"' not in text_of(browser, "/register/1")
