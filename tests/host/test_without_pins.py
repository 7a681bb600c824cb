"""The desk installs and runs where no GPIO library does."""

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

PROGRAM = """
import sys
class Nowhere:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in {"rig", "gpiozero", "lgpio", "board", "adafruit_mlx90614", "w1thermsensor"}:
            raise ImportError(f"{name} is not installed here")
sys.meta_path.insert(0, Nowhere())
import host.cli, host.desk, host.commands.serve, host.commands.check, host.commands.demo, host.web.app
print("all there")
"""


@pytest.mark.slow
def test_the_desk_needs_nothing_of_the_rig_s() -> None:
    done = subprocess.run([sys.executable, "-W", "ignore", "-c", PROGRAM], capture_output=True, text=True)
    assert done.stdout == "all there\n", done.stderr


def test_the_desk_s_extra_names_no_pin_library() -> None:
    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text("utf-8"))["project"]
    named = " ".join([*project["dependencies"], *project["optional-dependencies"]["host"]]).lower()
    assert not any(word in named for word in ("gpio", "blinka", "w1therm", "adafruit"))


def test_the_rig_s_command_says_what_to_install_where_its_libraries_are_not() -> None:
    program = "import sys; sys.modules['gpiozero'] = None; import rig.cli"
    done = subprocess.run([sys.executable, "-W", "ignore", "-c", program], capture_output=True, text=True)
    assert done.returncode == 2
    assert "is not installed: here is a desk and no rig" in done.stderr
    assert "pip install '.[rig]'" in done.stderr
    assert done.stderr.count("\n") == 1
