"""A browser's window of one size at a desk, and everything that was wrong on the way."""

import time
from dataclasses import dataclass, field

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import BrowserContext, Page

SIZES = {"phone": (390, 844), "tablet": (820, 1180), "desk": (1366, 768)}
PATIENCE_S = 15.0
_TOO_WIDE = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


@dataclass
class Device:
    """What of the console is ``expected`` is no fault of a page: a refusal (422), a desk that was ended."""

    context: BrowserContext
    url: str
    expected: tuple[str, ...] = ()
    wrong: list[str] = field(default_factory=list)

    def page(self) -> Page:
        page = self.context.new_page()
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.wrong.append(f"script: {error}"))
        page.on("request", self._request)
        return page

    def open(self, path: str) -> Page:
        page = self.page()
        page.goto(self.url + path.lstrip("/"))
        return page

    def assert_fits(self, page: Page) -> None:
        """Nothing is wider than the screen; measured once the style sheet is there."""
        page.wait_for_load_state("load")
        too_wide = page.evaluate(_TOO_WIDE)
        assert too_wide <= 0, f"{page.url} is {too_wide} px too wide"

    def barriers(self, page: Page) -> list[tuple[str, str, list[str]]]:
        """What keeps a reader out, by the rules of axe-core (WCAG 2 at A and AA among them)."""
        page.wait_for_load_state("load")
        found = Axe().run(page).response["violations"]
        return [(page.url, one["id"], [node["html"][:120] for node in one["nodes"]][:3]) for one in found]

    def look_at(self, page: Page) -> None:
        self.assert_fits(page)
        assert self.barriers(page) == []

    def until(self, page: Page, is_so: str) -> None:
        """Wait for an expression to be true; asked over the debugger, as the page's policy forbids eval."""
        end_s = time.monotonic() + PATIENCE_S
        while not page.evaluate(is_so):
            assert time.monotonic() < end_s, f"It was never so: {is_so}"
            page.wait_for_timeout(50)

    def _console(self, message) -> None:
        if message.type in ("error", "warning") and not any(word in message.text for word in self.expected):
            self.wrong.append(f"console: {message.text}")

    def _request(self, request) -> None:
        if not request.url.startswith((self.url, "blob:", "data:")):
            self.wrong.append(f"left the desk: {request.url}")
