from datetime import date
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from host.cli import main
from host.store import Store
from host.store.register_file import RegisterFileError, read_register_file

PROBE = """
kind = "probe"
serial = "P-0007"
certificate = "K 1234"
issuer = "Invented calibration laboratory"
issued = 2025-03-01
due = 2026-03-01
model = "steinhart_hart"
a = 1.125e-3
b = 2.347e-4
c = 8.566e-8
expanded_u_k = 0.05
k = 2.0
valid_from_c = 0.0
valid_to_c = 105.0
"""
BOX = """
kind = "decade_box"
serial = "B-0001"
certificate = "K 1235"
issuer = "Invented calibration laboratory"
issued = 2025-03-01
residual_ohm = 0.2
expanded_u_relative = 1e-4
expanded_u_ohm = 0.02
k = 2.0
simulated = true
[[step]]
nominal_ohm = 100
certified_ohm = 100.012
[[step]]
nominal_ohm = 200
certified_ohm = 199.98
expanded_u_ohm = 0.03
"""


def test_a_probe_comes_back_by_value_with_a_digest(store: Store) -> None:
    added = store.register.add_text(PROBE)
    assert store.register.current("probe") == added
    assert (added.serial, added.certificate, added.due) == ("P-0007", "K 1234", date(2026, 3, 1))
    assert [added.content[name] for name in "abc"] == [1.125e-3, 2.347e-4, 8.566e-8]
    assert len(added.sha256) == 64
    assert store.register.current("decade_box") is None


def test_the_digest_is_of_what_the_file_says_not_of_how_it_is_laid_out(store: Store) -> None:
    added = store.register.add_text(PROBE)
    relaid = "# copied from paper\n" + PROBE.replace(" = ", "=").replace("2025-03-01", '"2025-03-01"')
    assert store.register.add_text(relaid).sha256 == added.sha256
    assert len(store.register.all()) == 1


def test_a_new_certificate_is_a_new_entry_and_the_old_one_stays(store: Store) -> None:
    old = store.register.add_text(PROBE)
    new = store.register.add_text(PROBE.replace("K 1234", "K 2001").replace("1.125e-3", "1.126e-3"))
    assert store.register.current("probe") == new
    assert store.register.all() == [old, new]


def test_a_due_date_may_be_left_out_and_an_overdue_instrument_knows_it(store: Store) -> None:
    box = store.register.add_text(BOX)
    assert box.due is None
    assert box.simulated
    assert not box.is_overdue(date(2099, 1, 1))
    probe = store.register.add_text(PROBE)
    assert not probe.is_overdue(date(2026, 3, 1))
    assert probe.is_overdue(date(2026, 3, 2))


@pytest.mark.parametrize(
    ("text", "old", "new", "field"),
    [
        (PROBE, 'kind = "probe"', 'kind = "thermometer"', "kind"),
        (PROBE, 'serial = "P-0007"', "", "serial"),
        (PROBE, '"K 1234"', '" "', "certificate"),
        (PROBE, "issued = 2025-03-01", "", "issued"),
        (PROBE, "issued = 2025-03-01", 'issued = "spring"', "issued"),
        (PROBE, "due = 2026-03-01", "due = 2024-03-01", "due"),
        (PROBE, '"steinhart_hart"', '"beta"', "model"),
        (PROBE, "a = 1.125e-3", "", "a is missing"),
        (PROBE, "b = 2.347e-4", "b = -2.347e-4", "b must be above zero"),
        (PROBE, "expanded_u_k = 0.05", "expanded_u_k = 0", "expanded_u_k"),
        (PROBE, "expanded_u_k = 0.05", "expanded_u_k = nan", "expanded_u_k"),
        (PROBE, "expanded_u_k = 0.05", "expanded_u_k = true", "expanded_u_k"),
        (PROBE, "k = 2.0\n", "k = 0.2\n", "k must be"),
        (PROBE, "valid_to_c = 105.0", "valid_to_c = -1.0", "valid_to_c"),
        (PROBE, "c = 8.566e-8", "c = 8.566e-8\nd = 1.0", "d is no field"),
        (BOX, "residual_ohm = 0.2", "residual_ohm = -0.2", "residual_ohm"),
        (BOX, "certified_ohm = 199.98", "", "step 2: certified_ohm"),
        (BOX, "certified_ohm = 199.98", "certified_ohm = 0.19998", "step 2: certified_ohm"),
        (
            BOX,
            "nominal_ohm = 200\ncertified_ohm = 199.98",
            "nominal_ohm = 100\ncertified_ohm = 99.98",
            "twice",
        ),
        (BOX, "expanded_u_relative = 1e-4\nexpanded_u_ohm = 0.02", "", "step 1: an uncertainty"),
        (BOX, "expanded_u_ohm = 0.03", "expanded_u_k = 0.03", "step 2: expanded_u_k is no field"),
        (BOX, "[[step]]", "[[stage]]", "stage is no field"),
        (BOX, "simulated = true", 'simulated = "yes"', "simulated"),
        (PROBE, "kind", "kind =", "no TOML"),
    ],
)
def test_a_file_with_a_slip_is_refused_with_the_field_named(
    text: str, old: str, new: str, field: str
) -> None:
    assert old in text
    with pytest.raises(RegisterFileError, match=field):
        read_register_file(text.replace(old, new))


def run_command(tmp_path: Path, *words: str) -> Any:
    return CliRunner().invoke(main, [*words, "--data", str(tmp_path / "desk")])


def test_the_commands_add_and_list_instruments(tmp_path: Path) -> None:
    file = tmp_path / "probe.toml"
    file.write_text(PROBE, encoding="utf-8")
    assert "register is empty" in run_command(tmp_path, "register", "list").output
    added = run_command(tmp_path, "register", "add", str(file))
    assert added.exit_code == 0
    assert "P-0007" in added.output
    assert "K 1234" in run_command(tmp_path, "register", "list").output
    assert '"valid_to_c": 105.0' in run_command(tmp_path, "register", "list", "--json").output


def test_a_bad_file_is_one_line_and_exit_code_2(tmp_path: Path) -> None:
    file = tmp_path / "probe.toml"
    file.write_bytes(PROBE.encode().replace(b"P-0007", b"P-\xff007"))
    refused = run_command(tmp_path, "register", "add", str(file))
    assert refused.exit_code == 2
    assert len(refused.stderr.splitlines()) == 1
    assert "UTF-8" in refused.stderr


def test_the_commands_add_and_list_stations(tmp_path: Path) -> None:
    assert "ohmbath station add" in run_command(tmp_path, "station", "list").output
    assert run_command(tmp_path, "station", "add", "bench-1").exit_code == 0
    assert "no rig has spoken yet" in run_command(tmp_path, "station", "list").output
    refused = run_command(tmp_path, "station", "add", "Bench One")
    assert refused.exit_code == 2
    assert "a-z, 0-9" in refused.stderr
