"""The main job pressed through by a browser, from first start to certificate, on the simulated bench.

Desk, broker and rig are the real programs; the rig runs fast. The run goes from one device to the next.
"""

import contextlib
import io
import time
from collections.abc import Iterator

import pypdf
import pytest
from PIL import Image
from playwright.sync_api import Page, expect
from playwright.sync_api import TimeoutError as PlaywrightTimeout

from host.broker import EmbeddedBroker
from host.data_folder import DataFolder
from host.desk import Desk
from host.web.app import create_app
from host.web.server import PageServer

pytestmark = [pytest.mark.slow, pytest.mark.browser]

# Rig seconds in a second. The whole run is some 35 minutes of its bath.
SPEED = 150.0
RUN_ENDS_WITHIN_S = 150.0


class Shop:
    """A whole desk that can be ended and started again on the same store and port."""

    def __init__(self, folder) -> None:
        self.folder = DataFolder(folder)
        self.broker = EmbeddedBroker(folder=self.folder.broker)
        self.broker.start()
        self.port = 0
        self.open()

    def open(self) -> None:
        self.desk = Desk(self.folder.lock(), broker_host="127.0.0.1", broker_port=self.broker.port)
        self.desk.start()
        self.server = PageServer(create_app(self.desk), port=self.port)
        self.port = self.server.start()
        self.url = self.server.url

    def close(self) -> None:
        self.server.stop()
        self.desk.stop()


@pytest.fixture
def shop(tmp_path, monkeypatch) -> Iterator[Shop]:
    monkeypatch.setattr("host.simulated_bench.SERVING_SPEED", SPEED)
    made = Shop(tmp_path / "shop")
    yield made
    made.close()
    made.broker.stop()


def let_hands(page: Page, until, *, within_s: float = RUN_ENDS_WITHIN_S) -> None:
    """Press what the card offers for hands, as often as it asks, until something is so."""
    end_s = time.monotonic() + within_s
    hands = page.get_by_role("button", name="Let the simulated hands do it")
    while not until(page):
        assert time.monotonic() < end_s, page.locator("main").inner_text()[:600]
        if hands.is_visible():
            # The card may move on by itself under the pointer, and then there is nothing to press.
            with contextlib.suppress(PlaywrightTimeout):
                hands.click(timeout=2_000)
        page.wait_for_timeout(150)


def step(page: Page) -> str:
    return page.locator(".instruction").first.inner_text()


def a_photo() -> dict:
    file = io.BytesIO()
    Image.effect_noise((320, 240), 60).convert("RGB").save(file, "JPEG")
    return {"name": "IMG_0001.jpg", "mimeType": "image/jpeg", "buffer": file.getvalue()}


@pytest.mark.timeout(400)
def test_from_first_start_to_a_certificate_by_phone_tablet_and_desk(shop, devices):
    # A refusal and a desk that was ended on purpose are no fault of a page.
    phone, tablet, desk = (
        devices(shop.url, size, expected=("422", "net::ERR_")) for size in ("phone", "tablet", "desk")
    )
    for device in (phone, tablet, desk):
        device.context.set_default_timeout(30_000)

    # First start, on the desk's own machine.
    page = desk.open("")
    desk.look_at(page)
    page.get_by_role("button", name="Start the simulated bench").click()
    expect(page.get_by_text("is heard.")).to_be_visible(timeout=60_000)
    desk.look_at(page)

    # The start form, on the phone: refused once, and nothing is lost.
    page = phone.open("stations/simulated-1")
    page.get_by_label("Curve it is meant to follow").select_option("to be found out")
    page.get_by_text("Job, wiring, connector and photo").click()
    page.get_by_label("Photo", exact=True).set_input_files(a_photo())
    page.get_by_label("Job").fill("JOB 7731")
    page.get_by_role("button", name="Start the check").click()
    expect(page.get_by_label("What is checked")).to_have_attribute("aria-invalid", "true")
    expect(page.get_by_label("Job")).to_have_value("JOB 7731")
    phone.look_at(page)
    page.get_by_label("What is checked").fill("Sender of no name, tag 7")
    page.get_by_role("button", name="Start the check").click()
    page.wait_for_url("**/runs/1")
    phone.look_at(page)

    # Set up on the phone, then the same run on the tablet.
    let_hands(page, lambda page: "Set the bath heater" in step(page))
    other = tablet.open("runs/1")
    expect(other.locator(".instruction")).to_contain_text("Set the bath heater")
    tablet.look_at(other)
    let_hands(other, lambda page: "Hands off" in step(page) or page.locator(".caught .read").count() >= 1)

    # The desk is ended and started anew in the middle, its bench too; an open page takes up by itself.
    other.evaluate("window.sameLife = true")
    shop.close()
    expect(other.locator("[data-cut]")).to_contain_text("No word from the desk", timeout=20_000)
    shop.open()
    page = desk.open("begin")
    expect(page.get_by_text("is heard.")).to_be_visible(timeout=60_000)
    expect(other.locator("[data-cut]")).to_be_hidden(timeout=30_000)
    assert other.evaluate("window.sameLife") is True
    let_hands(other, lambda page: page.get_by_text("no verdict yet").is_visible())

    # The curve is chosen at the desk; the certificate says so.
    for device in (phone, tablet, desk):
        page = device.open("runs/1")
        expect(page.get_by_role("button", name="Judge against it (ntc-310-80c)")).to_be_visible()
        device.look_at(page)
    page.get_by_role("button", name="Judge against it (ntc-310-80c)").click()
    expect(page.locator(".overall")).to_contain_text("Not decided")
    for device in (phone, tablet, desk):
        page = device.open("runs/1")
        expect(page.locator(".sentence")).to_contain_text("chosen from readings of this sender")
        expect(page.get_by_alt_text("Photo of Sender of no name, tag 7")).to_be_visible()
        device.look_at(page)
    href = page.get_by_role("link", name="Open the certificate").get_attribute("href")
    paper = page.request.get(shop.url + href.lstrip("/"))
    text = "".join(sheet.extract_text() for sheet in pypdf.PdfReader(io.BytesIO(paper.body())).pages)
    assert "Sender of no name, tag 7" in text and "chosen because it fits" in " ".join(text.split())
