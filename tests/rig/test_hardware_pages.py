"""What the hardware pages say is what the wiring map and the programs say."""

import re
from pathlib import Path

import pytest

import host.cli
import rig.cli
from rig.wiring import load_wiring, wiring_file

WIRING = load_wiring()
FOLDER = wiring_file().parent
PAGES = sorted(FOLDER.glob("*.md"))


def page(name: str) -> str:
    return (FOLDER / name).read_text("utf-8")


def rows(name: str) -> list[list[str]]:
    """Cells of every table row of a page."""
    lines = [line for line in page(name).splitlines() if line.startswith("|") and "---" not in line]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.name)
def test_every_page_says_that_it_is_untested_on_metal(path: Path) -> None:
    assert re.search(r"untested on metal|no step\s+has been done on metal", path.read_text("utf-8"), re.I)


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.name)
def test_every_link_of_a_page_leads_somewhere(path: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", path.read_text("utf-8")):
        assert (FOLDER / target).is_file(), target


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.name)
def test_every_command_of_a_page_exists(path: Path) -> None:
    text = path.read_text("utf-8")
    for program, group in (("ohmbath-rig", rig.cli.main), ("ohmbath", host.cli.main)):
        for word, option in re.findall(rf"`{program} ([a-z]+)[^`]*?(--[a-z]+)?[^`]*`", text):
            command = group.get_command(None, word)
            assert command is not None, f"{program} {word}"
            if option:
                assert any(option in parameter.opts for parameter in command.params), option


def test_the_table_of_ranges_is_that_of_the_wiring_map() -> None:
    found = [row for row in rows("README.md") if row[0] in WIRING.channels]
    expected = []
    for name, channel in WIRING.channels.items():
        for each in channel.ranges:
            low_ohm, high_ohm = WIRING.reportable.span_ohm(each)
            ordered = ", only where ordered" if each.ordered_only else ""
            expected.append(
                [
                    name,
                    f"{each.reference_ohm:g} Ω{ordered}",
                    f"{low_ohm:.0f} to {high_ohm:.0f} Ω",
                    f"{each.stated_error_percent:g} %",
                    f"{WIRING.peak_current_ma(name, each):.2f} mA",
                    f"{WIRING.worst_power_mw(name, each):.2f} mW",
                ]
            )
    assert found == expected


def test_the_bill_of_materials_has_every_resistor_of_the_wiring_map() -> None:
    counts: dict[float, int] = {}
    for channel in WIRING.channels.values():
        counts[channel.return_lift_ohm] = counts.get(channel.return_lift_ohm, 0) + 1
        below = 0.0
        for each in sorted(channel.ranges, key=lambda each: each.reference_ohm):
            shares = [other for other in channel.ranges if other.tap0 == each.tap0 and other is not each]
            own_ohm = each.reference_ohm - (below if shares and below else 0.0)
            below = each.reference_ohm if shares else 0.0
            for ohm in (own_ohm, each.ballast_ohm, each.lift_beside_ohm):
                if ohm is not None:
                    counts[ohm] = counts.get(ohm, 0) + 1
    for ohm in (WIRING.one_wire.pull_up_ohm, WIRING.button.pull_up_ohm, WIRING.light.series_ohm):
        counts[ohm] = counts.get(ohm, 0) + 1
    taps = {
        tap for c in WIRING.channels.values() for tap in (c.tap1, c.tap2, *(each.tap0 for each in c.ranges))
    }
    counts[WIRING.converter.tap_series_ohm] = counts.get(WIRING.converter.tap_series_ohm, 0) + len(taps)
    counts[WIRING.relay.pull_down_ohm] = sum(
        use.startswith(("excitation", "insertion")) for use, _ in WIRING.pins()
    )
    listed: dict[float, int] = {}
    for row in rows("bill_of_materials.md"):
        value = re.fullmatch(r"([\d.]+) (k?)Ω", row[1]) if len(row) > 1 else None
        if value and row[0].isdecimal():
            ohm = float(value[1]) * (1000 if value[2] else 1)
            listed[ohm] = listed.get(ohm, 0) + int(row[0])
    assert listed == counts


def test_the_bill_has_chips_relays_and_drivers_enough() -> None:
    counts = {row[1]: int(row[0]) for row in rows("bill_of_materials.md") if row[0].isdecimal()}
    ranges = [each for channel in WIRING.channels.values() for each in channel.ranges]
    poles = len(ranges) + sum(each.lift_beside_ohm is not None for each in ranges)
    assert 4 * counts["quad analog switch, single poles"] >= poles
    steps, places = len(WIRING.decade_box.step_ohm), 4
    assert counts["relay, one changeover, 5 V, 140 mW (28 mA)"] == steps
    per_place = int(WIRING.relay.coils_per_place)
    assert counts["relay, two changeovers, 5 V, 140 mW (28 mA)"] == places * per_place
    assert 7 * counts["transistor array with clamp diodes"] >= steps + places
    assert WIRING.relay.coil_ma == 28.0 == pytest.approx(140 / WIRING.supply.relay_v)
    assert counts["10 nF capacitor"] == 8
    assert WIRING.converter.tap_capacitor_nf == 10.0


def test_every_reference_of_the_bill_has_the_tolerance_of_the_wiring_map() -> None:
    references = [
        row for row in rows("bill_of_materials.md") if "reference" in row[-1] or "on top" in row[-1]
    ]
    assert len(references) == 4
    for row in references:
        assert f"{WIRING.reference.tolerance_percent:g} %" in row[2]
        assert f"{WIRING.reference.ppm_per_k:g} ppm/K" in row[2]


def test_the_taps_to_measure_at_bring_up_follow_from_the_map() -> None:
    each, lift_ohm = WIRING.channels["sender"].ranges[0], WIRING.channels["sender"].return_lift_ohm
    loop_ohm = each.ballast_ohm + each.reference_ohm + 1000.0 + lift_ohm
    taps = [1 - each.ballast_ohm / loop_ohm, (1000.0 + lift_ohm) / loop_ohm, lift_ohm / loop_ohm]
    assert ", ".join(f"{tap:.3f}" for tap in taps) + " V" in page("bring_up.md")


def test_the_lines_for_the_pi_hold_every_switch_low_and_the_witness_on_its_pin() -> None:
    text = page("bring_up.md")
    ranges = re.search(r"gpio=([\d,-]+)=op,dl", text)
    assert ranges is not None
    held = set()
    for part in ranges[1].split(","):
        first, _, last = part.partition("-")
        held |= set(range(int(first), int(last or first) + 1))
    switches = {gpio for use, gpio in WIRING.pins() if use.startswith(("excitation", "insertion", "light"))}
    assert switches <= held
    assert not held & ({gpio for _, gpio in WIRING.pins()} - switches)
    assert f"gpiopin={WIRING.one_wire.gpio}" in text


def test_what_the_cold_range_may_be_off_in_ice_is_that_of_the_wiring_map() -> None:
    """At 32,650 ohm, where the published 10 kohm type is at 0 °C; it falls by 5.1 % a kelvin there."""
    cold = WIRING.channels["probe"].ranges[-1]
    share = WIRING.worst_error("probe", cold, 32_650.0)
    words = f"{100 * share:.2f} % of R, {share * 32_650:.0f} Ω or {1000 * share / 0.0510:.0f} mK"
    assert words in page("bath.md").replace("\n", " ")
    for name in ("README.md", "calibration_plan.md"):
        assert f"{100 * share:.2f} %, {1000 * share / 0.0510:.0f} mK" in page(name)
    assert cold.reference_ohm == 10_200.0
    assert sum(WIRING.decade_box.step_ohm) >= 9_999
