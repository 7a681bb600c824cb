import json
import re
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from calibration.thermistor.steinhart_hart import SteinhartHart
from host.cli import main
from host.errors import DeskError
from host.store import Store
from host.store.instrument_marks import Mark
from host.store.register import Instrument, InstrumentRefusedError
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


INFRARED = """
kind = "infrared"
serial = "IR-3"
certificate = "none, as bought"
issuer = "maker"
issued = 2025-05-01
resolution_k = 0.1
accuracy_k = 2.0
accuracy_percent = 2.0
emissivity = "settable"
distance_to_spot = 12
band_from_um = 8
band_to_um = 14
"""
CORRECTIONS = """
k = 2
[[point]]
shown_c = 40.2
correction_k = 0.3
expanded_u_k = 0.9
[[point]]
shown_c = 89.6
correction_k = -0.8
expanded_u_k = 1.3
"""
AT_A_SETTING = "certified_emissivity = 0.95" + CORRECTIONS
SENSOR = (
    """
kind = "rig_infrared"
serial = "bench-1"
station = "bench-1"
certificate = "000004"
issuer = "the shop"
issued = 2025-05-01
resolution_k = 0.02
certified_emissivity = 0.95
"""
    + CORRECTIONS
)
SCAN_TOOL = """
kind = "scan_tool"
serial = "shop's own"
certificate = "none, as bought"
issuer = "maker"
issued = 2025-05-01
resolution_k = 1
accuracy_k = 1
"""
TODAY = date(2025, 9, 1)


@pytest.mark.parametrize("text", [INFRARED, INFRARED + AT_A_SETTING, SCAN_TOOL, SCAN_TOOL + CORRECTIONS])
def test_instruments_of_the_vehicle_come_with_their_makers_word_or_their_corrections(text: str) -> None:
    assert read_register_file(text).kind in ("infrared", "scan_tool")


@pytest.mark.parametrize(
    ("text", "old", "new", "field", "words"),
    [
        (INFRARED, "resolution_k = 0.1\n", "", "resolution_k", "missing"),
        (INFRARED, "accuracy_k = 2.0\naccuracy_percent = 2.0", "", "accuracy_k", "or one"),
        (INFRARED, "accuracy_k = 2.0\n", "", "accuracy_k", "beside accuracy_percent"),
        (INFRARED, '"settable"', "0.05", "emissivity", "from 0.1 to 1"),
        (INFRARED, '"settable"', '"fixed"', "emissivity", "must be a number"),
        (INFRARED, "distance_to_spot = 12", "distance_to_spot = 0", "distance_to_spot", "above zero"),
        (INFRARED, "band_to_um = 14", "band_to_um = 7", "band_to_um", "below band_to_um"),
        (INFRARED + AT_A_SETTING, "k = 2\n", "", "k", "missing"),
        (INFRARED + AT_A_SETTING, "89.6", "30.0", "point", "coldest comes first"),
        (INFRARED + AT_A_SETTING, "-0.8", "88.8", "point", "no correction"),
        (INFRARED + AT_A_SETTING, "expanded_u_k = 1.3", "", "point", "point 2: expanded_u_k is missing"),
        (
            INFRARED + AT_A_SETTING,
            "certified_emissivity = 0.95",
            "",
            "certified_emissivity",
            "one setting alone",
        ),
        (INFRARED + AT_A_SETTING, "= 0.95", "= 1.2", "certified_emissivity", "from 0.1 to 1"),
        (INFRARED + AT_A_SETTING, '"settable"', "1.0", "certified_emissivity", "is fixed at, 1"),
        (SENSOR, 'station = "bench-1"', "", "station", "that of its station alone"),
        (SENSOR, "certified_emissivity = 0.95", "", "certified_emissivity", "missing"),
        (SCAN_TOOL, "accuracy_k = 1", "distance_to_spot = 12\naccuracy_k = 1", "", "no field"),
    ],
)
def test_a_slip_in_a_thermometers_file_is_told_with_its_field(
    text: str, old: str, new: str, field: str, words: str
) -> None:
    assert old in text
    with pytest.raises(RegisterFileError, match=words) as refused:
        read_register_file(text.replace(old, new))
    assert refused.value.field == field


def points_of(curve: SteinhartHart, *temperatures_c: float, off_k: float = 0.0) -> str:
    rows = [(t, curve.resistance_ohm(t)) for t in temperatures_c]
    rows[1] = (rows[1][0], curve.resistance_ohm(rows[1][0] + off_k))
    return "".join(f"[[point]]\ntemperature_c = {t}\nresistance_ohm = {ohm!r}\n" for t, ohm in rows)


def probe_by_points(points: str) -> str:
    header = "\n".join(line for line in PROBE.splitlines() if line[:4] not in ("a = ", "b = ", "c = "))
    return f"{header}\n{points}"


def test_a_probe_certified_by_points_gets_the_coefficients_that_run_through_them() -> None:
    """The coefficients that made the points come back, to where the certificate's U would notice."""
    curve = SteinhartHart(a=1.129241e-3, b=2.341077e-4, c=8.775468e-8)
    entry = read_register_file(probe_by_points(points_of(curve, 0.0, 25.0, 60.0, 100.0)))
    content = json.loads(entry.content)
    fitted = SteinhartHart(a=content["a"], b=content["b"], c=content["c"])
    for temperature_c in (0.0, 40.0, 80.0, 100.0):
        assert fitted.temperature_c(curve.resistance_ohm(temperature_c)) == pytest.approx(
            temperature_c, abs=1e-6
        )
    assert len(content["point"]) == 4


def test_points_of_a_probe_that_lie_on_no_one_curve_are_refused() -> None:
    curve = SteinhartHart(a=1.129241e-3, b=2.341077e-4, c=8.775468e-8)
    with pytest.raises(RegisterFileError, match="off the curve through all") as refused:
        read_register_file(probe_by_points(points_of(curve, 0.0, 25.0, 60.0, 100.0, off_k=0.4)))
    assert refused.value.field == "point"
    with pytest.raises(RegisterFileError, match="point"):
        read_register_file(probe_by_points(points_of(curve, 0.0, 25.0)))


def probe_text(**changes: str) -> str:
    text = PROBE
    for name, value in changes.items():
        text = re.sub(rf"(?m)^{name} = .*$", f"{name} = {value}", text)
    return text


def test_an_older_certificate_that_is_added_late_is_history_and_not_in_force(store: Store) -> None:
    newest = store.register.add_text(PROBE)
    older = store.register.add_text(probe_text(certificate='"K 900"', issued="2023-02-01", due="2024-02-01"))
    standing = store.register.standing("probe", "P-0007")
    assert standing.certificates == (newest, older)
    assert store.register.current("probe") == newest


def test_a_certificate_that_was_typed_wrong_is_typed_again_and_both_are_kept(store: Store) -> None:
    wrong = store.register.add_text(probe_text(issued="2025-12-03"))
    right = store.register.add_text(PROBE)
    standing = store.register.standing("probe", "P-0007")
    assert standing.certificates == (right,)
    assert standing.superseded == (wrong,)
    assert store.register.all() == [wrong, right]


def test_of_two_probes_the_one_put_to_use_last_is_used(store: Store) -> None:
    store.register.add_text(PROBE)
    second = store.register.add_text(probe_text(serial='"P-0008"'))
    assert store.register.current("probe") == second
    store.register.mark("probe", "P-0007", Mark.IN_USE, reason="P-0008 is lent out")
    current = store.register.current("probe")
    assert current is not None and current.serial == "P-0007"


def probe_at(station: str, serial: str) -> str:
    return f'station = "{station}"\n' + probe_text(serial=f'"{serial}"')


def test_a_station_uses_its_own_probe_and_never_that_of_another_station(store: Store) -> None:
    store.register.add_text(probe_at("bench-2", "P-2"))
    store.register.add_text(probe_at("bench-3", "P-3"))
    with pytest.raises(InstrumentRefusedError, match="no reference probe in use that bench-4 may use"):
        store.register.usable("probe", today=TODAY, months_by_kind={}, station="bench-4")
    anywhere = store.register.add_text(PROBE)
    used = {
        station: store.register.usable("probe", today=TODAY, months_by_kind={}, station=station).serial
        for station in ("bench-2", "bench-3", "bench-4", "")
    }
    assert used == {"bench-2": "P-2", "bench-3": "P-3", "bench-4": anywhere.serial, "": anywhere.serial}


def test_an_instrument_that_moves_to_another_station_is_typed_again_with_it(store: Store) -> None:
    store.register.add_text(probe_at("bench-2", "P-2"))
    moved = store.register.add_text(probe_at("bench-3", "P-2"))
    assert store.register.current("probe", station="bench-2") is None
    assert store.register.current("probe", station="bench-3") == moved


@pytest.mark.parametrize("station", ['"Bench 3"', "3", '""'])
def test_an_instrument_is_kept_at_a_station_that_can_be(station: str) -> None:
    with pytest.raises(RegisterFileError, match="name of the station") as refused:
        read_register_file(f"station = {station}\n" + PROBE)
    assert refused.value.field == "station"


def usable(store: Store, kind: str = "probe", today: date = TODAY) -> Instrument:
    return store.register.usable(kind, today=today, months_by_kind={})


def test_a_failed_reference_is_refused_with_the_reason_until_it_has_a_new_certificate(store: Store) -> None:
    store.register.add_text(PROBE)
    store.register.mark("probe", "P-0007", Mark.FAILED, reason="0.4 K off at the ice point", by="Ada")
    with pytest.raises(InstrumentRefusedError, match="P-0007 failed on .*: 0.4 K off at the ice point. "):
        usable(store)
    store.register.add_text(probe_text(certificate='"K 900"', issued="2023-02-01", due="2024-02-01"))
    with pytest.raises(InstrumentRefusedError, match="failed"):
        usable(store)
    new = store.register.add_text(probe_text(certificate='"K 2001"', issued="2025-08-30"))
    assert usable(store) == new


def test_a_retired_instrument_is_never_deleted_and_never_used(store: Store) -> None:
    store.register.add_text(PROBE)
    store.register.mark("probe", "P-0007", Mark.RETIRED, reason="cable torn off")
    assert store.register.current("probe") is None
    with pytest.raises(InstrumentRefusedError, match="holds no reference probe in use"):
        usable(store)
    assert "was retired" in str(store.register.standing("probe", "P-0007").refusal(TODAY, {}))
    store.register.mark("probe", "P-0007", Mark.IN_USE, reason="new cable, checked at the ice point")
    assert usable(store).serial == "P-0007"
    assert [mark.mark for mark in store.register.standing("probe", "P-0007").marks] == ["retired", "in_use"]


def test_past_its_due_date_a_reference_is_refused_with_that_date(store: Store) -> None:
    store.register.add_text(PROBE)
    assert usable(store, today=date(2026, 3, 1)).serial == "P-0007"
    with pytest.raises(InstrumentRefusedError, match="was due on 2026-03-01"):
        usable(store, today=date(2026, 3, 2))


def test_a_mark_without_a_reason_or_without_an_instrument_is_refused(store: Store) -> None:
    store.register.add_text(PROBE)
    with pytest.raises(DeskError, match="Write why"):
        store.register.mark("probe", "P-0007", Mark.FAILED, reason="  ")
    with pytest.raises(DeskError, match="holds no"):
        store.register.mark("probe", "P-9999", Mark.FAILED, reason="fell")


RESISTOR = """
kind = "artefact"
serial = "R-1000"
certificate = "K 77"
issuer = "Invented calibration laboratory"
issued = 2025-03-01
resistance_ohm = 1000.2
expanded_u_ohm = 0.1
k = 2.0
"""
ROUND_SENDER = """
kind = "artefact"
serial = "S-300"
certificate = "K 78"
issuer = "Invented calibration laboratory"
issued = 2025-03-01
curve = "ntc-310-80c"
k = 2.0
[[point]]
temperature_c = 60.0
error_k = -0.12
expanded_u_k = 0.06
"""


def test_an_artefact_is_a_resistor_or_a_sender_with_its_certified_values(store: Store) -> None:
    for text, name in ((RESISTOR, "resistance_ohm"), (ROUND_SENDER, "curve")):
        added = store.register.add_text(text)
        assert name in added.content and added.kind == "artefact"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (RESISTOR + 'curve = "ntc-310-80c"', "write one of the two"),
        (RESISTOR.replace("resistance_ohm = 1000.2", ""), "write one of the two"),
        (RESISTOR.replace("expanded_u_ohm = 0.1", "expanded_u_ohm = 0"), "expanded_u_ohm"),
        (RESISTOR.replace("k = 2.0", ""), "k"),
        (ROUND_SENDER.partition("[[point]]")[0], "write one \\[\\[point\\]\\]"),
        (ROUND_SENDER.replace("error_k = -0.12", ""), "point 1: error_k"),
        (ROUND_SENDER + "limit_k = 1", "limit_k"),
    ],
)
def test_an_artefact_without_its_value_or_uncertainty_is_refused(text: str, words: str) -> None:
    with pytest.raises(RegisterFileError, match=words):
        read_register_file(text)
