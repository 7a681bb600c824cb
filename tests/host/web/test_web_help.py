import pytest

from host.web.help_texts import TOPICS, topic_of

pytestmark = pytest.mark.slow


def test_every_page_has_help_and_a_link_to_it(browser):
    pages = [rule for rule in browser.application.url_map.iter_rules() if "GET" in rule.methods]
    asked = {rule.rule: topic_of(rule.endpoint) for rule in pages if rule.endpoint != "static"}
    assert {page for page, topic in asked.items() if topic not in TOPICS} == set()
    for page in ("/", "/runs", "/settings", "/begin", "/certificates", "/help"):
        assert f'href="/help/{asked[page]}" aria-label="Help' in browser.get(page).text


def test_every_topic_opens_and_leads_to_the_others(browser):
    assert all(f"/help/{name}" in browser.get("/help").text for name in TOPICS)
    for name, topic in TOPICS.items():
        page = browser.get(f"/help/{name}")
        assert page.status_code == 200
        assert topic.title in page.text
    assert browser.get("/help/astrology").status_code == 404


def test_the_doors_are_reachable_from_help(browser, desk, bench):
    assert 'href="/begin"' in browser.get("/help").text
