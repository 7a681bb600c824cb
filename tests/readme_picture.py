"""Makes the pictures of the README: the paper beside its result, and the pages of a check on a phone.

Run by ``make picture``; needs chromium and pdftoppm. Everything in it comes from the simulated bench.
"""

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from conftest import program
from PIL import Image
from playwright.sync_api import sync_playwright

from host.demo import MEASURES, Demo, fresh_folder
from host.procedures.runs_at_work import RunView
from host.web.app import create_app
from host.web.server import PageServer

_PAPER_WIDTH = 900
_PAGE_HEIGHT = 844
_GAP = 40
_GROUND = (226, 224, 218)


def main(target: Path) -> None:
    """Run the demo's two checks and put phone and paper side by side."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        demo = Demo(fresh_folder(folder / "data"), seed=1, plant="series:22", say=print)
        phone = folder / "phone.png"
        try:
            demo.start()
            server = PageServer(create_app(demo.desk, takes_all_for=MEASURES), port=0)
            server.start()
            start, run = folder / "start.png", folder / "run.png"
            _photograph(f"{server.url}stations/bench-1#start", start, height=_PAGE_HEIGHT)

            def follow(item: str, view: Callable[[], RunView]) -> None:
                """Wait until the first plateau of the first check is caught."""
                if view().run != 1:
                    return
                while not view().state.windows:
                    time.sleep(0.05)
                _photograph(f"{server.url}runs/1", run, height=_PAGE_HEIGHT)

            checks = demo.run_both(follow)
            _photograph(f"{server.url}runs/2", phone, height=1120)
            result = folder / "result.png"
            _photograph(f"{server.url}runs/2", result, height=_PAGE_HEIGHT)
            server.stop()
        finally:
            demo.stop()
        certificate = checks[1].certificate
        assert certificate is not None
        paper = folder / "paper"
        pdftoppm = program("pdftoppm")
        assert pdftoppm is not None
        subprocess.run(
            [pdftoppm, "-r", "110", "-png", "-singlefile", str(certificate), str(paper)],
            check=True,
        )
        _side_by_side(phone, paper.with_suffix(".png")).save(target, optimize=True)
        pages = target.with_name("pages.png")
        _in_a_row([start, run, result]).save(pages, optimize=True)
    print(f"{target} and {pages} made", file=sys.stderr)  # noqa: T201  a tool for the terminal


def _photograph(url: str, target: Path, *, height: int) -> None:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program("chromium"), args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 390, "height": height}, device_scale_factor=2)
        page.goto(url)
        page.wait_for_timeout(1_000)  # the first live values draw the strip chart
        page.screenshot(path=str(target))
        browser.close()


def _in_a_row(files: list[Path]) -> Image.Image:
    """Screens beside each other, in few colours: these are pages of ink on paper."""
    screens = [Image.open(file).convert("RGB") for file in files]
    width = sum(screen.width for screen in screens) + (len(screens) + 1) * _GAP
    whole = Image.new("RGB", (width, screens[0].height + 2 * _GAP), _GROUND)
    left = _GAP
    for screen in screens:
        whole.paste(screen, (left, _GAP))
        left += screen.width + _GAP
    small = whole.resize((whole.width // 2, whole.height // 2), Image.Resampling.LANCZOS)
    return small.quantize(128, method=Image.Quantize.MAXCOVERAGE)


def _side_by_side(phone: Path, paper: Path) -> Image.Image:
    left, right = Image.open(phone).convert("RGB"), Image.open(paper).convert("RGB")
    right = right.resize((_PAPER_WIDTH, round(right.height * _PAPER_WIDTH / right.width)))
    left = left.resize((round(left.width * right.height / left.height), right.height))
    whole = Image.new("RGB", (left.width + right.width + 3 * _GAP, right.height + 2 * _GAP), _GROUND)
    whole.paste(left, (_GAP, _GAP))
    whole.paste(right, (left.width + 2 * _GAP, _GAP))
    return whole.resize((whole.width * 2 // 3, whole.height * 2 // 3), Image.Resampling.LANCZOS)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
