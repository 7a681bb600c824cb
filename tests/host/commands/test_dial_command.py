import json

import pytest
from click.testing import CliRunner, Result

from host.cli import main


def dial(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["dial", *arguments])


def test_a_printed_row_is_dialled_as_printed():
    # Hyundai Accent 2004 prints 298 to 322 Ω at 80 °C, 538 to 650 Ω at 60 °C: their middles are dialled.
    result = dial("--curve", "ntc-310-80c", "--show", "80C", "--show", "140F")
    assert result.exit_code == 0
    rows = [
        line.split() for line in result.stdout.splitlines() if line[:10].strip() and line.strip()[0].isdigit()
    ]
    assert [row[:3] for row in rows] == [["80", "176", "310"], ["60", "140", "594"]]
    assert max(len(line) for line in result.stdout.splitlines()) <= 80


def test_json_is_for_scripts_and_words_go_beside_it():
    result = dial("--curve", "ntc-2k5-20c", "--show", "90C", "--show", "195F", "--json")
    data = json.loads(result.stdout)
    assert data["curve"] == "ntc-2k5-20c"
    first, second = data["rows"]
    assert first["setting_ohm"] == 243
    assert first["shows_c"] == pytest.approx(90.0)
    assert first["shows_f"] == pytest.approx(194.0)
    assert first["step_f"] == pytest.approx(1.8 * first["step_k"])
    assert second["show_c"] == pytest.approx(90.5556, abs=1e-4)
    assert second["setting_ohm"] < first["setting_ohm"]
    assert "Assumed" in result.stderr


def test_the_current_of_a_gauge_is_cautioned():
    said = " ".join(dial("--curve", "ntc-160-60c", "--show", "80C").stdout.split())
    assert "see what current the box's steps may carry" in said


def test_celsius_and_fahrenheit_ask_for_the_same():
    by_c, by_f = (
        json.loads(dial("--curve", "ntc-2k5-20c", "--show", text, "--json").stdout)["rows"][0]
        for text in ("85C", "185F")
    )
    assert by_c == pytest.approx(by_f)


def test_a_coarse_box_shows_what_it_can_make():
    row = json.loads(dial("--curve", "ntc-2k5-20c", "--show", "90C", "--step", "10", "--json").stdout)[
        "rows"
    ][0]
    assert row["setting_ohm"] == 240
    assert 90.0 < row["shows_c"] < 91.0


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--curve", "ntc-2k5-20c", "--show", "90"), "no unit"),
        (("--curve", "ntc-2k5-20c", "--show", "200C"), "-40 to 130"),
        (("--curve", "ntc-318-80c", "--show", "60C"), "20, 80 °C"),
        (("--curve", "nothing", "--show", "90C"), "ohmbath curves"),
        (
            (
                "--curve",
                "ntc-2k5-20c",
            ),
            "--show",
        ),
        (("--curve", "ntc-2k5-20c", "--show", "90C", "--step", "0"), "above zero"),
        (("--curve", "ntc-2k5-20c", "--show", "90C", "--tolerance", "1e300"), "at most 100"),
        (("--curve", "ntc-2k5-20c", "--show", "90C", "--residual", "500"), "500 Ω at zero"),
        (("--curve", "ntc-2k5-20c", "--show", "90C", "--residual", "nan"), "from zero on"),
        (("--curve", "ntc-2k5-20c", "--show", "9000F"), "above 1000"),
        (("--curve", "ntc-2k5-20c", "--show", ""), "90C or 194F"),
        (("--curve", "ntc-2k5-20c", "--show", "120C", "--step", "100"), "smaller steps"),
    ],
)
def test_what_cannot_be_dialled_is_refused_in_one_line(arguments: tuple[str, ...], words: str):
    result = dial(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert len(result.stderr.splitlines()) == 1
    assert words in result.stderr
