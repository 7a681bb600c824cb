import json
import math
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from host.cli import main

PUBLISHED = Path(__file__).parents[2] / "calibration" / "published"
NTC_2K5 = dict(tomllib.loads((PUBLISHED / "ntc_2k5.toml").read_text("utf-8"))["rows"])
SENDERS = tomllib.loads((PUBLISHED / "senders.toml").read_text("utf-8"))
LIMITS_310 = {t: (least, largest) for t, least, _, largest in SENDERS["ntc-310-80c"]["rows"]}
COMMON_C = [t for t in NTC_2K5 if t in LIMITS_310]
POINT_KEYS = {
    "temperature_c", "resistance_ohm", "indicated_c", "error_k", "expanded_u_k", "k", "limit_k", "verdict",
}  # fmt: skip


SHOP = ("--shop", "Plover & Tansy Motor Works")


def ohmbath(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture
def points(tmp_path):
    def save(rows, header="temperature_c,resistance_ohm", name="points.csv") -> Path:
        path = tmp_path / name
        lines = [header, *(",".join(str(cell) for cell in row) for row in rows)]
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return path

    return save


@pytest.fixture
def makers_part(points) -> Path:
    """The 2.5 kΩ maker's table taken as measured points."""
    return points([(t, NTC_2K5[t]) for t in COMMON_C])


def verdicts(result: Result) -> dict[float, str]:
    return {point["temperature_c"]: point["verdict"] for point in json.loads(result.stdout)["points"]}


def test_one_makers_part_against_anothers_printed_limits(makers_part):
    result = ohmbath("check", makers_part, "--curve", "ntc-310-80c", "--rule", "simple", "--json")
    assert len(COMMON_C) == 8
    for temperature_c, verdict in verdicts(result).items():
        least, largest = LIMITS_310[temperature_c]
        within = least <= NTC_2K5[temperature_c] <= largest
        assert verdict == ("in_tolerance" if within else "out_of_tolerance")
    assert result.exit_code == 1
    assert json.loads(result.stdout)["verdict"] == "out_of_tolerance"


def test_the_json_holds_what_is_promised_and_nothing_but_json_is_on_standard_output(makers_part):
    result = ohmbath("check", makers_part, "--curve", "ntc-310-80c", "--json")
    data = json.loads(result.stdout)
    assert data["verdict"] == "not_decided"
    assert data["rule"] == "guarded"
    assert data["curve"] == "ntc-310-80c"
    for point in data["points"]:
        assert point.keys() >= POINT_KEYS
        assert all(isinstance(point[key], float) for key in POINT_KEYS - {"verdict"})
        assert point["error_k"] == point["indicated_c"] - point["temperature_c"]
    assert "0.6 K (assumed" in result.stderr
    assert "1 % of R (assumed" in result.stderr


def test_the_default_rule_is_guarded_and_open_points_end_with_3(makers_part):
    result = ohmbath("check", makers_part, "--curve", "ntc-310-80c", "--json")
    assert result.exit_code == 3
    for point in json.loads(result.stdout)["points"]:
        reach_k = abs(point["error_k"]) + point["expanded_u_k"]
        assert (point["verdict"] == "in_tolerance") is (reach_k <= point["limit_k"])


def test_a_good_part_ends_with_0(makers_part):
    assert ohmbath("check", makers_part, "--curve", "ntc-310-80c", "--limit-k", "5").exit_code == 0


def test_assumed_uncertainties_are_06_kelvin_and_1_percent(points):
    result = ohmbath("check", points([(80, 323)]), "--curve", "ntc-2k5-20c", "--limit-k", "2", "--json")
    point = json.loads(result.stdout)["points"][0]
    # By hand: neighbours 436 Ω at 70 °C and 243 Ω at 90 °C give the slope to about 1 %.
    slope_k_per_ohm = -(353.15**2) / (323 * math.log(436 / 243) / (1 / 343.15 - 1 / 363.15))
    assert point["expanded_u_k"] == pytest.approx(2 * math.hypot(0.6, slope_k_per_ohm * 3.23), rel=0.005)
    assert point["k"] == 2.0


def test_stated_uncertainties_replace_the_assumed_and_the_file_goes_before_both(points):
    path = points([(80, 323, ""), (90, 243, 0.05)], "temperature_c,resistance_ohm,u_temperature_k")
    result = ohmbath(
        "check", path, "--curve", "ntc-2k5-20c", "--limit-k", "2", "--json",
        "--u-temperature", "0.2", "--u-resistance", "0.5",
    )  # fmt: skip
    used = json.loads(result.stdout)["points"]
    assert [point["u_temperature_k"] for point in used] == [0.2, 0.05]
    assert [point["u_resistance_ohm"] for point in used] == pytest.approx([1.615, 1.215])
    assert "0.2 K (stated for the whole file, 1 of 2 points)" in result.stderr
    assert "assumed" not in result.stderr


def test_fahrenheit_and_kilohms_give_the_same_verdicts(points, makers_part):
    other = points(
        [(t * 9 / 5 + 32, NTC_2K5[t] / 1000) for t in COMMON_C], "temperature_f,resistance_kohm", "f.csv"
    )
    for rule in ("simple", "guarded"):
        ours = ohmbath("check", makers_part, "--curve", "ntc-310-80c", "--rule", rule, "--json")
        theirs = ohmbath("check", other, "--curve", "ntc-310-80c", "--rule", rule, "--json")
        assert list(verdicts(ours).values()) == list(verdicts(theirs).values())
        assert ours.exit_code == theirs.exit_code


def test_the_table_is_for_people_and_fits_eighty_columns(makers_part):
    result = ohmbath("check", makers_part, "--curve", "ntc-310-80c")
    assert "Verdict: not decided" in result.stdout
    assert "◐ not decided" in result.stdout
    assert "assumed" in result.stdout
    assert "26113" in result.stdout
    assert max(len(line) for line in result.stdout.splitlines()) <= 80
    assert result.stderr == ""


def test_the_coefficients_are_those_of_the_fit_command(makers_part):
    fitted = json.loads(ohmbath("fit", makers_part, "--json").stdout)
    checked = json.loads(ohmbath("check", makers_part, "--curve", "ntc-310-80c", "--json").stdout)
    assert checked["fit"]["coefficients"] == fitted["coefficients"]
    assert (
        f"{fitted['coefficients']['a']:.9e}" in ohmbath("check", makers_part, "--curve", "ntc-310-80c").stdout
    )


def test_points_that_make_no_curve_still_get_their_verdict(points):
    result = ohmbath("check", points([(20, 2500)]), "--curve", "ntc-310-80c")
    assert result.exit_code == 0
    assert "No curve fitted" in result.stdout


def test_a_curve_of_two_rows_judges_at_its_rows(points):
    good = ohmbath("check", points([(20, 2455), (80, 318)]), "--curve", "ntc-318-80c", "--rule", "simple")
    assert good.exit_code == 0
    elsewhere = ohmbath("check", points([(20, 2455), (60, 590)]), "--curve", "ntc-318-80c")
    assert elsewhere.exit_code == 2
    assert "row 3, column temperature_c" in elsewhere.stderr
    assert "Measure within 0.5 K of 20, 80 °C" in elsewhere.stderr


def test_a_curve_of_ones_own_is_named_by_its_file(points, tmp_path):
    mine = tmp_path / "mine.toml"
    mine.write_text(
        'title = "x"\nsource = "invented"\ntolerance = "5 %"\ntolerance_percent = 5\nwiring = "unknown"\n'
        'allowed_current_ma = "unknown"\nrows = [\n{temperature_c = 20, resistance_ohm = 2500},\n'
        "{temperature_c = 50, resistance_ohm = 834},\n{temperature_c = 80, resistance_ohm = 323},\n"
        "{temperature_c = 90, resistance_ohm = 243},\n]\n",
        encoding="utf-8",
    )
    result = ohmbath("check", points([(80, 330)]), "--curve", mine, "--rule", "simple", "--json")
    assert (result.exit_code, json.loads(result.stdout)["curve"]) == (0, "mine")
    mine.write_text(mine.read_text("utf-8").replace("834", "2834"), encoding="utf-8")
    refused = ohmbath("check", points([(80, 330)]), "--curve", mine)
    assert refused.exit_code == 2
    assert "row 2 (50 °C)" in refused.stderr


def refused_in_one_line(result: Result) -> str:
    assert result.exit_code == 2
    assert result.stdout == ""
    assert len(result.stderr.splitlines()) == 1
    return result.stderr


@pytest.mark.parametrize("as_json", [[], ["--json"]], ids=["words", "json"])
@pytest.mark.parametrize(
    ("rows", "arguments", "words"),
    [
        ([(20, -5)], [], "row 2, column resistance_ohm"),
        ([(20, 2500), (130, 89)], [], "row 3, column temperature_c: 130 °C is outside the curve"),
        ([(20, 2.5)], [], "row 2, column resistance_ohm: 2.5 Ω"),
        ([(20, 2500)], ["--curve", "ntc-2k5-20c"], "--limit-k"),
        ([(20, 2500)], ["--curve", "nothing"], "ohmbath curves"),
        ([(20, 2500)], ["--curve", "./nothing.toml"], "nothing.toml"),
        ([(20, 2500)], ["--rule", "kind"], "'guarded', 'simple'"),
        ([(20, 2500)], ["--limit-k", "0"], "above zero"),
        ([(20, 2500)], ["--limit-k", "nan"], "above zero"),
        ([(20, 2500)], ["--u-temperature", "-1"], "above zero"),
        ([(20, 2500)], ["--u-resistance", "inf"], "above zero"),
        ([(20, 2500)], ["--nonsense"], "--nonsense"),
        ([(20, 2500)], ["--certificate", "no/such/folder/out.pdf", *SHOP], "no folder"),
        ([(20, 2500)], ["--certificate", "out.pdf"], "add --shop"),
    ],
)
def test_bad_input_is_one_line_and_exit_code_2(points, rows, arguments, words, as_json):
    result = ohmbath("check", points(rows), "--curve", "ntc-310-80c", *arguments, *as_json)
    assert words in refused_in_one_line(result)


def test_a_missing_curve_or_file_is_one_line(points, tmp_path):
    assert "--curve" in refused_in_one_line(ohmbath("check", points([(20, 2500)])))
    assert "POINTS" in refused_in_one_line(ohmbath("check", "--curve", "ntc-310-80c"))
    assert "no such file" in refused_in_one_line(
        ohmbath("check", tmp_path / "nothing.csv", "--curve", "ntc-310-80c")
    )


class TestCertificate:
    def written(self, points_path, out, *arguments):
        return ohmbath(
            "check", points_path, "--curve", "ntc-310-80c", "--certificate", out, *SHOP, *arguments
        )

    def test_it_is_a_pdf_and_the_exit_code_stays_the_verdict(self, makers_part, tmp_path):
        out = tmp_path / "out.pdf"
        result = self.written(makers_part, out, "--json", "--item", "Bench sender 7")
        assert result.exit_code == 3
        assert out.read_bytes().startswith(b"%PDF-")
        assert json.loads(result.stdout)["certificate"] == str(out)

    def test_it_says_that_it_bears_no_seal_and_what_verify_answers(self, makers_part, tmp_path):
        out = tmp_path / "out.pdf"
        result = self.written(makers_part, out, "--json")
        assert json.loads(result.stdout)["certificate_is_sealed"] is False
        assert "bears no seal" in result.stderr and "answers 1" in result.stderr
        assert ohmbath("certificate", "verify", out).exit_code == 1
        assert "seal" not in ohmbath("check", makers_part, "--curve", "ntc-310-80c").stderr

    def test_it_says_what_was_typed_and_what_was_assumed(self, makers_part, tmp_path):
        from pypdf import PdfReader

        out = tmp_path / "out.pdf"
        self.written(makers_part, out, "--item", "Bench sender 7")
        text = " ".join(" ".join(page.extract_text() for page in PdfReader(out).pages).split())
        for words in ("Bench sender 7", "typed by hand", "0.6 K (assumed", "1 % of R (assumed", "OB-T-"):
            assert words in text
        assert "imulated" not in text

    def test_another_one_is_never_written_over_it(self, makers_part, tmp_path):
        out = tmp_path / "out.pdf"
        self.written(makers_part, out)
        before = out.read_bytes()
        assert "is there already" in refused_in_one_line(self.written(makers_part, out))
        assert out.read_bytes() == before

    def test_bad_input_leaves_no_paper(self, points, tmp_path):
        out = tmp_path / "out.pdf"
        refused_in_one_line(self.written(points([(20, -5)]), out))
        assert not out.exists()

    def test_a_name_that_cannot_be_printed_is_said_and_leaves_no_paper(self, makers_part, tmp_path):
        out = tmp_path / "out.pdf"
        assert "item" in refused_in_one_line(self.written(makers_part, out, "--item", "sender \U0001f600"))
        assert not out.exists()
