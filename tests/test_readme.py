"""What the README shows is what the program prints."""

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

README = Path(__file__).parent.parent / "README.md"
BIN = Path(sys.executable).parent


def shown_blocks() -> list[str]:
    """Indented blocks of the README, without their indent."""
    blocks: list[list[str]] = [[]]
    for line in README.read_text("utf-8").splitlines():
        if line.startswith("    ") or (not line.strip() and blocks[-1]):
            blocks[-1].append(line[4:])
        elif blocks[-1]:
            blocks.append([])
    return ["\n".join(block).strip("\n") for block in blocks if block]


def block_with(words: str) -> str:
    found = [block for block in shown_blocks() if words in block]
    assert len(found) == 1, f"{len(found)} blocks of the README hold {words!r}"
    return found[0]


@pytest.mark.slow
def test_the_hand_check_of_the_readme_prints_what_it_shows(tmp_path: Path) -> None:
    block = block_with("$ ohmbath check points.csv")
    typed, _, printed = block.partition("$ ohmbath check points.csv")
    rest, _, wanted = printed.partition("\n")
    points = "\n".join(line for line in typed.splitlines() if re.match(r"[a-z0-9]", line)) + "\n"
    (tmp_path / "points.csv").write_text(points, "utf-8")
    ended = subprocess.run(
        [str(BIN / "ohmbath"), "check", "points.csv", *shlex.split(rest)],
        cwd=tmp_path,
        capture_output=True,
        text=True,
    )
    shown = [line.rstrip() for line in wanted.splitlines()]
    assert [line.rstrip() for line in ended.stdout.strip().splitlines()] == shown


def test_the_command_line_knows_every_command_of_the_readme() -> None:
    from host.cli import COMMANDS

    named = set(
        re.findall(r"^\s*(?:\$ |\.venv/bin/)?ohmbath ([a-z]+)", README.read_text("utf-8"), re.MULTILINE)
    )
    assert named
    assert named <= set(COMMANDS)


@pytest.mark.parametrize(
    "path", ["hardware/wiring.toml", "DEVELOPERS.md", "CHANGELOG.md", ".pictures/bench.png"]
)
def test_what_the_readme_points_at_is_there(path: str) -> None:
    assert path in README.read_text("utf-8")
    assert (README.parent / path).exists()
