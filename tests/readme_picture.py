"""Makes the picture of the README: a run on a phone, and the paper it ends with.

Run by ``make picture``; needs chromium and pdftoppm. Everything in it comes from the simulated bench.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

from conftest import program
from PIL import Image
from playwright.sync_api import sync_playwright

from host.demo import Demo, fresh_folder
from host.web.app import create_app
from host.web.server import PageServer

_PAPER_WIDTH = 900
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
            server = PageServer(create_app(demo.desk), port=0)
            server.start()
            checks = demo.run_both(lambda item, view: None)
            _photograph(f"{server.url}runs/2", phone)
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
    print(f"{target} made", file=sys.stderr)  # noqa: T201  a tool for the terminal


def _photograph(url: str, target: Path) -> None:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program("chromium"), args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 390, "height": 1120}, device_scale_factor=2)
        page.goto(url)
        page.screenshot(path=str(target))
        browser.close()


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
