import re

import pytest
from flask import Flask

from host.web.rules import open_to_anyone, rule_of


def test_every_page_says_who_may_open_it(browser):
    app = browser.application
    assert [rule.rule for rule in app.url_map.iter_rules() if rule_of(app, rule.endpoint) is None] == []


def test_a_page_without_a_rule_is_found_out():
    app = Flask(__name__)

    @app.get("/ruled")
    @open_to_anyone
    def ruled() -> str:
        return "anybody"

    @app.get("/forgotten")
    def forgotten() -> str:
        return "nobody"

    assert rule_of(app, "ruled").is_open
    assert rule_of(app, "forgotten") is None


@pytest.mark.slow
@pytest.mark.parametrize("number", ["99999999999999999999", "4294967296", "٢"])
def test_a_number_that_no_store_holds_is_a_page_that_is_not_there(browser, number):
    asked = set()
    for rule in browser.application.url_map.iter_rules():
        if "GET" in rule.methods and "<int:" in rule.rule:
            address = re.sub(r"<int:[^>]*>", number, rule.rule)
            address = re.sub(r"<any\(([^,)]*)[^>]*>", r"\1", address)
            asked.add(re.sub(r"<[^>]*>", "bench-1", address))
    assert len(asked) > 15 and f"/exercise/{number}" in asked
    assert {address: status for address in asked if (status := browser.get(address).status_code) != 404} == {}


@pytest.mark.slow
def test_a_number_in_a_form_that_was_never_given_is_no_fault_of_the_program(browser):
    far = "9" * 20
    for address in (f"/typed?again={far}", f"/infrared?as_left_of={far}", f"/audit?after={far}"):
        assert browser.get(address).status_code == 200, address
    begun = browser.post("/on-the-vehicle", data={"item": "the blue van", "curve": "ntc-2k5-20c"}).location
    form = {"step": "scan_data", "shown": "70"}
    assert browser.post(f"{begun}/read", data=form | {"seen": "999999999"}).status_code == 409
    assert browser.post(f"{begun}/read", data=form | {"seen": far}).status_code == 303
