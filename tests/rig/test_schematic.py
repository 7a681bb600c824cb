"""The drawing and the table of the circuit say what the wiring map says."""

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from click.testing import CliRunner

from rig.cli import main
from rig.schematic import schematic_svg
from rig.wiring import load_wiring, parse_wiring, wiring_file
from rig.wiring_table import COLUMNS, wiring_lines

WIRING = load_wiring()
TEXT = wiring_file().read_text("utf-8")
DRAWING = wiring_file().with_name("schematic.svg")


def words_of(svg: bytes) -> list[str]:
    root = ET.fromstring(svg)
    return ["".join(text.itertext()) for text in root.iter("{http://www.w3.org/2000/svg}text")]


def test_the_drawing_beside_the_wiring_map_is_the_one_that_it_gives() -> None:
    """Anew by: ohmbath-rig wiring --schematic hardware/schematic.svg."""
    assert DRAWING.read_bytes() == schematic_svg(WIRING)


def test_every_pin_input_and_resistor_of_the_map_is_in_the_drawing() -> None:
    words = " | ".join(words_of(schematic_svg(WIRING)))
    numbers = {int(number) for number in re.findall(r"\d+", " ".join(re.findall(r"GPIO ([\d, ]+)", words)))}
    assert {gpio for _, gpio in WIRING.pins()} <= numbers
    for channel in WIRING.channels.values():
        for tap in (channel.tap1, channel.tap2, *(each.tap0 for each in channel.ranges)):
            assert f"= input {tap}" in words
        for each in channel.ranges:
            assert f"{each.ballast_ohm:g} Ω" in words
            assert f"{each.reference_ohm:g} Ω range" in words
    for step_ohm in WIRING.decade_box.step_ohm:
        assert f"{step_ohm} Ω" in words


def test_another_circuit_gives_another_drawing() -> None:
    other = parse_wiring(TEXT.replace("excitation_gpio = 17", "excitation_gpio = 21", 1))
    assert schematic_svg(other) != schematic_svg(WIRING)
    assert "GPIO 21" in words_of(schematic_svg(other))


def test_the_drawing_fetches_nothing_and_holds_no_script() -> None:
    text = schematic_svg(WIRING).decode()
    assert "<script" not in text
    assert set(re.findall(r"https?://[^\"' ]+", text)) <= {
        "http://www.w3.org/2000/svg",
        "http://www.w3.org/1999/xlink",
    }


def test_the_table_fits_a_terminal_of_80_columns_and_names_every_pin() -> None:
    lines = wiring_lines(WIRING)
    assert max(map(len, lines)) <= COLUMNS == 80
    pins = lines[2 : lines.index("")]
    assert len(pins) == len(list(WIRING.pins()))
    header = {int(line.split()[0]): int(line.split()[1]) for line in pins}
    # three rows of the header's own print
    assert (header[3], header[11], header[7]) == (2, 17, 4)


def test_the_command_prints_the_map_and_draws_it(tmp_path: Path) -> None:
    drawing = tmp_path / "circuit.svg"
    done = CliRunner().invoke(main, ["wiring", "--schematic", str(drawing)])
    assert done.exit_code == 0
    assert done.output.splitlines() == wiring_lines(WIRING)
    assert drawing.read_bytes() == DRAWING.read_bytes()


def test_a_drawing_that_cannot_be_written_is_one_line(tmp_path: Path) -> None:
    done = CliRunner().invoke(main, ["wiring", "--schematic", str(tmp_path / "no" / "folder" / "x.svg")])
    assert done.exit_code == 2
    assert "give another file" in done.output


def test_a_map_that_breaks_a_rule_is_not_drawn(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    broken = tmp_path / "wiring.toml"
    broken.write_text(TEXT.replace("ballast_ohm = 68.0", "ballast_ohm = 51.0", 1), encoding="utf-8")
    monkeypatch.setattr("rig.commands.wiring.load_wiring", lambda: load_wiring(broken))
    done = CliRunner().invoke(main, ["wiring"])
    assert done.exit_code == 2
    assert "1.016 mA" in done.output
