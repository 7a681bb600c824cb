"""Photos of what is checked, and the shop's own picture, on the pages."""

import io
import re

import pytest
from PIL import Image
from pypdf import PdfReader

from host.certificates.canonical import certificate_from_canonical
from host.curve_to_find import FIND_OUT
from host.picture import photo_of
from host.web.app import create_app

pytestmark = pytest.mark.slow

FORM = {"item": "Sender, tag 7", "curve": FIND_OUT, "set_points": "30 60 85", "scale": "c"}


def photo(size=(640, 480), form="JPEG"):
    file = io.BytesIO()
    Image.effect_noise(size, 90).convert("RGB").save(file, form, quality=95)
    file.seek(0)
    return file


def begin(browser, **changes):
    return browser.post(
        "/stations/bench-1/sender-check", data=FORM | changes, content_type="multipart/form-data"
    )


def test_a_photo_goes_with_the_start_of_a_check_and_is_shown_at_its_run(browser, desk, bench):
    run = int(begin(browser, photo=(photo(), "IMG_0001.jpg")).location.rsplit("/", 1)[1])
    sha256 = desk.store.pictures.of_run(run)
    answer = browser.get(f"/pictures/{sha256}")
    assert answer.mimetype == "image/jpeg" and Image.open(io.BytesIO(answer.data)).size == (640, 480)
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert "img-src 'self'" in answer.headers["Content-Security-Policy"]


def test_a_form_larger_than_any_typing_is_taken_where_a_photo_goes_and_only_there(browser, bench):
    large = photo()
    assert len(large.getvalue()) > 2 * 64 * 1024
    assert begin(browser, photo=(large, "large.jpg")).status_code == 303
    assert browser.post("/typed", data={"item": "x" * 200_000}).status_code == 413


def test_a_refused_form_keeps_its_photo(browser, desk, bench):
    refused = begin(browser, item="", photo=(photo(), "IMG_0001.jpg"))
    assert refused.status_code == 422
    kept = re.search(r'name="photo_kept" value="([0-9a-f]{64})"', refused.text)[1]
    run = int(begin(browser, photo_kept=kept).location.rsplit("/", 1)[1])
    assert desk.store.pictures.of_run(run) == kept


def test_what_is_no_picture_is_refused_beside_its_field_and_the_rest_is_kept(browser, desk, bench):
    refused = begin(browser, customer="Mrs A. Fennimore", photo=(io.BytesIO(b"#!/bin/sh"), "a.jpg"))
    assert refused.status_code == 422
    assert re.search(r'id="photo-wrong">[^<]*no JPEG or PNG', refused.text)
    assert 'value="Mrs A. Fennimore"' in refused.text
    assert desk.store.runs.all() == []


def test_a_photo_that_was_never_kept_cannot_be_named(browser, desk, bench):
    run = int(begin(browser, photo_kept="0" * 64).location.rsplit("/", 1)[1])
    assert desk.store.pictures.of_run(run) is None


def test_a_result_shows_its_photo_and_its_certificate_does_not(finished_desk, client_of):
    browser = client_of(finished_desk)
    paper = finished_desk.store.certificates.all()[0].files.pdf
    assert "Add a photo" in browser.get("/runs/1").text
    data = {"photo": (photo(), "IMG_0001.jpg")}
    assert browser.post("/runs/1/photo", data=data, content_type="multipart/form-data").location == "/runs/1"
    sha256 = finished_desk.store.pictures.of_run(1)
    assert f'src="/pictures/{sha256}"' in browser.get("/runs/1").text
    assert finished_desk.store.certificates.all()[0].files.pdf == paper
    assert "added a photo" in [line.deed for line in finished_desk.store.audit.newest(3)]


def test_the_shops_picture_is_set_shown_and_taken_away(browser, desk):
    data = {"logo": (photo((200, 80), "PNG"), "logo.png")}
    assert browser.post("/settings/logo", data=data, content_type="multipart/form-data").status_code == 303
    logo = desk.store.pictures.logo()
    assert logo.data.startswith(b"\x89PNG") and logo.sha256 in browser.get("/settings/logo").text
    browser.post("/settings/logo", data={"remove": "yes"})
    assert desk.store.pictures.logo() is None
    assert "There is none yet" in browser.get("/settings/logo").text


@pytest.mark.slow
def test_the_shops_picture_stands_on_what_is_issued_from_then_on(browser, desk):
    check = {"item": "sender, tag 7", "curve": "ntc-310-80c", "rule": "guarded", "judge": "judge"}
    check |= {"temperature_1": "20", "resistance_1": "2506", "temperature_2": "80", "resistance_2": "336"}
    browser.post("/typed", data=check)
    data = {"logo": (photo((200, 80), "PNG"), "logo.png")}
    browser.post("/settings/logo", data=data, content_type="multipart/form-data")
    browser.post("/typed", data=check | {"item": "sender, tag 8"})
    before, after = desk.store.certificates.all()
    logos = [certificate_from_canonical(one.files.canonical_json).logo for one in (before, after)]
    assert logos == [b"", desk.store.pictures.logo().data]
    images = [
        sum(len(page.images) for page in PdfReader(io.BytesIO(one.files.pdf)).pages)
        for one in (before, after)
    ]
    assert images[1] == images[0] + 1


def test_nothing_chosen_is_said_and_no_run_no_photo(browser, desk):
    assert "choose a picture first" in browser.post("/settings/logo", data={}).text
    assert browser.get("/runs/7/photo").status_code == 404
    assert browser.get(f"/pictures/{'0' * 64}").status_code == 404


def test_photos_of_forms_that_were_never_taken_are_forgotten_and_used_ones_stay(small_desk, tmp_path):
    clock = [1_750_000_000.0]
    desk = small_desk(tmp_path, now=lambda: clock[0])
    used, idle, fresh = (photo_of(photo((64, 48 + n)).getvalue()) for n in range(3))
    run = desk.store.runs.create(station=None, kind="hand_check", settings={})
    desk.store.pictures.use_for_run(run, desk.store.pictures.keep(used))
    desk.store.pictures.keep(idle)
    clock[0] += 90_000.0
    desk.store.pictures.keep(fresh)
    assert desk.store.pictures.get(idle.sha256) is None
    assert desk.store.pictures.get(used.sha256) == used
    desk.close()


@pytest.fixture
def client_of():
    return lambda desk: create_app(desk).test_client()
