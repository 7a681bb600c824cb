"""A desk whose shop has no name asks for it before anything is typed, and issues nothing."""

import pytest

from host.certificates.canonical import certificate_from_canonical
from host.procedures.authorisation import amend
from host.seal.errors import SealError
from host.web.app import create_app

TYPED = {"item": "sender, tag 7", "curve": "ntc-310-80c", "rule": "guarded", "limit_k": "5"}
TYPED |= {"temperature_1": "80", "resistance_1": "310"}


@pytest.fixture
def unnamed(desk):
    """Pages of a desk that nobody has named the shop of."""
    desk.store.settings.change({"shop_name": "", "shop_address": ""})
    return create_app(desk).test_client()


@pytest.mark.parametrize(
    "page", ["/typed", "/on-the-vehicle", "/infrared", "/probe-check", "/meter-check", "/witness-check"]
)
def test_whoever_begins_a_check_is_led_to_the_name_first(unnamed, page):
    led = unnamed.get(page)
    assert (led.status_code, led.location) == (303, f"/settings/shop?then={page.replace('/', '%2F')}")
    assert f'name="then" value="{page}"' in unnamed.get(led.location).text


def test_the_name_is_kept_and_the_check_goes_on_to_its_certificate(unnamed, desk):
    assert unnamed.post("/typed", data=TYPED).status_code == 303
    assert not desk.store.runs.all()
    empty = unnamed.post("/settings/shop", data={"shop_name": " ", "then": "/typed"})
    assert (empty.status_code, "Write what the shop is called." in empty.text) == (422, True)
    typed = {"shop_name": "Heron Street Motors", "shop_address": "12 Heron Street", "then": "/typed"}
    named = unnamed.post("/settings/shop", data=typed)
    assert (named.status_code, named.location) == (303, "/typed")
    assert unnamed.get("/typed").status_code == 200
    assert unnamed.post("/typed", data=TYPED).status_code == 303
    (issued,) = desk.store.certificates.all()
    assert b'"shop":"Heron Street Motors"' in issued.files.canonical_json


def test_the_way_on_leads_to_no_other_site(unnamed):
    led = unnamed.post("/settings/shop", data={"shop_name": "Heron", "then": "//elsewhere.example"})
    assert led.location == "/"


def test_the_doors_and_a_station_show_the_way_to_the_name(unnamed, desk):
    assert 'href="/settings/shop?then=%2Fbegin"' in unnamed.get("/begin").text
    desk.store.stations.add("bench-7")
    desk.live.add_station("bench-7")
    page = unnamed.get("/stations/bench-7").text
    assert 'href="/settings/shop?then=%2Fstations%2Fbench-7%23start"' in page
    assert 'action="/stations/bench-7/sender-check"' not in page
    refused = unnamed.post("/stations/bench-7/sender-check", data={"item": "sender"})
    assert refused.location == "/settings/shop?then=%2Fstations%2Fbench-7"


def test_no_key_is_made_for_a_shop_without_a_name(unnamed, desk):
    with pytest.raises(SealError, match="settings set shop_name"):
        desk.store.seal.require_keys(desk.store.settings.read().shop.name)
    assert not desk.store.seal.keys.exists


def test_an_amendment_bears_the_shop_as_it_is_named_today_and_says_so(desk):
    pages = create_app(desk).test_client()
    assert pages.post("/typed", data=TYPED).status_code == 303
    (first,) = desk.store.certificates.all()
    named = certificate_from_canonical(first.files.canonical_json)
    assert named.shop != "Heron Street Motors"
    desk.store.settings.change({"shop_name": "Heron Street Motors", "shop_address": "12 Heron Street"})
    outcome = amend(desk.store, first.number, {"item": "sender, tag 8"}, "the tag was misread", by="")
    new = certificate_from_canonical(desk.store.certificates.get(outcome.number).files.canonical_json)
    assert (new.shop, new.shop_address) == ("Heron Street Motors", "12 Heron Street")
    assert f"shop: “{named.shop}” is now “Heron Street Motors”" in new.change
    assert "shop address: “3 Kiln Yard” is now “12 Heron Street”" in new.change
    assert "item: “sender, tag 7” is now “sender, tag 8”" in new.change
