import json

import pytest
from click.testing import CliRunner, Result

from host.cli import main
from host.data_folder import DataFolder
from host.data_option import opened
from host.typed_curve import curve_text_of_table


def ohmbath(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["identify", *arguments])


def data(*arguments: str) -> dict:
    return json.loads(ohmbath(*arguments, "--json").stdout)


TWO_POINTS = ("--point", "20C:2.45k", "--point", "80C:322")


def test_two_points_rank_the_library_and_the_probabilities_sum_to_one():
    result = ohmbath(*TWO_POINTS, "--json")
    assert result.exit_code == 0
    found = json.loads(result.stdout)
    probabilities = [candidate["probability"] for candidate in found["candidates"]]
    assert sum(probabilities) + found["none_of_these"] == pytest.approx(1.0)
    assert probabilities == sorted(probabilities, reverse=True)
    # Printed: 2320 to 2590 Ω at 20 °C and 310 to 326 Ω at 80 °C.
    assert found["candidates"][0]["curve"] == "ntc-318-80c"


def test_a_part_of_no_curve_ends_with_3():
    result = ohmbath("--point", "20C:1k", "--point", "80C:150")
    assert result.exit_code == 3
    assert "none of these" in result.stdout


@pytest.mark.parametrize(
    "points",
    [
        ("20C:2.45k", "50C:9k"),
        ("20C:3500", "50C:5"),
        ("20C:2450", "60C:421", "70C:290"),
        ("20C:2.45k", "50C:300", "70C:150"),
    ],
    ids=" ".join,
)
def test_points_that_no_part_explains_end_with_3(points):
    result = ohmbath(*(word for point in points for word in ("--point", point)))
    assert result.exit_code == 3
    assert "More likely none of these" in result.stdout


def test_only_curves_worth_a_row_are_said_to_be_indistinguishable():
    """2120 Ω at 20 °C keeps the limits of one curve, 2100 to 2900 Ω, and not 2370 to 2630 Ω of its twin."""
    said = " ".join(ohmbath("--point", "20C:2120", "--point", "90C:238").stdout.split())
    sentence = said[said.index("Most likely") : said.index("Standard uncertainties")]
    assert "ntc-840-50c" in sentence
    assert "ntc-248-90c" not in sentence
    assert "ntc-2k5-20c" not in sentence


def test_fahrenheit_and_ohms_rank_the_same():
    ours = {c["curve"]: c["probability"] for c in data(*TWO_POINTS)["candidates"]}
    theirs = {
        c["curve"]: c["probability"]
        for c in data("--point", "176F:0.322k", "--point", "68F:2450")["candidates"]
    }
    assert ours.keys() == theirs.keys()
    for name, probability in ours.items():
        assert theirs[name] == pytest.approx(probability, abs=1e-9)


def test_the_table_is_for_people_and_fits_eighty_columns():
    result = ohmbath(*TWO_POINTS)
    assert result.exit_code == 0
    assert "Most likely ntc-318-80c; these points cannot tell it from" in " ".join(result.stdout.split())
    assert "0.6 K and 1 %" in result.stdout
    assert max(len(line) for line in result.stdout.splitlines()) <= 80


#: A part of no curve of the library.
OF_A_MANUAL = ("--point", "20C:1k", "--point", "80C:150")


def test_a_curve_of_the_shop_s_own_is_ranked_beside_the_library(tmp_path):
    with opened(DataFolder(tmp_path)) as store:
        table = "20 1000\n40 480\n60 260\n80 150"
        store.curves.add("grey-van", curve_text_of_table(title="Grey van", source="Invented", table=table))
    assert ohmbath(*OF_A_MANUAL).exit_code == 3
    found = ohmbath(*OF_A_MANUAL, "--data", str(tmp_path), "--json")
    assert found.exit_code == 0
    first, *others = json.loads(found.stdout)["candidates"]
    assert first["curve"] == "grey-van"
    assert {"ntc-2k5-20c", "ntc-310-80c"} <= {candidate["curve"] for candidate in others}


def test_a_folder_without_a_desk_is_refused_and_stays_empty(tmp_path):
    result = ohmbath(*OF_A_MANUAL, "--data", str(tmp_path))
    assert (result.exit_code, result.stdout) == (2, "")
    assert "is no folder of a desk" in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_surer_points_are_taken_at_their_word():
    rough = data("--point", "25C:10k", "--point", "50C:3.7k")
    sure = data(
        "--point", "25C:10k", "--point", "50C:3.7k", "--u-temperature", "0.05", "--u-resistance", "0.05"
    )
    assert sure["none_of_these"] > rough["none_of_these"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "--point"),
        (("--point", "20:2.45k"), "no unit"),
        (("--point", "20C:2,45k"), "with a point"),
        (("--point", "20C"), "20C:2.45k"),
        (("--point", "20C:-5"), "above zero"),
        ((*TWO_POINTS, "--u-temperature", "0"), "above zero"),
        ((*TWO_POINTS, "--u-temperature", "nan"), "above zero"),
        ((*TWO_POINTS, "--u-temperature", "1e200"), "at most 100"),
        ((*TWO_POINTS, "--u-resistance", "1e200"), "at most 100"),
        (("--point", "500F:1k", "--point", "800F:2k"), "No sender is used"),
        (("--point", "-200C:1k"), "No sender is used"),
        (("--point", ""), "20C:2.45k"),
    ],
)
def test_bad_input_is_one_line_and_exit_code_2(arguments, words):
    result = ohmbath(*arguments)
    assert (result.exit_code, result.stdout) == (2, "")
    assert len(result.stderr.splitlines()) == 1
    assert words in result.stderr
