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
