"""Tables for other programs, read back by readers that are not ours: the csv and json modules."""

import csv
import io
import json
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host.errors import DeskError
from host.tables.table import Column, Form, Table, form_of, iso_time, safe_text, written

COLUMNS = (Column(name="error_k", unit="K"), Column(name="item"), Column(name="simulated"))


def table(*rows: tuple[object, ...]) -> Table:
    return Table(name="results", columns=COLUMNS, rows=rows)


def read_csv(made: Table) -> list[list[str]]:
    text = "".join(written(made, Form.CSV)).encode("utf-8").decode("utf-8-sig")
    return list(csv.reader(io.StringIO(text, newline="")))


def test_units_stand_in_the_header_and_numbers_have_a_decimal_point() -> None:
    rows = read_csv(table((-1234.5, 'sender, "tag" 7', True), (None, "", False)))
    assert rows == [
        ["error_k [K]", "item", "simulated"],
        ["-1234.5", 'sender, "tag" 7', "yes"],
        ["", "", "no"],
    ]


# The list of the Open Worldwide Application Security Project on CSV injection (=, +, -, @, tab, return),
# from memory, with their full-width forms.
@pytest.mark.parametrize(
    "typed",
    [
        "=1+1",
        "+1",
        "-1",
        "@A1",
        "\t=1",
        "\r=1",
        "\n=1",
        " =1",
        "＝1",
        "＋1",
        "－1",
        "＠A1",
        "=cmd|' /C calc'!A0",
    ],
)
def test_a_text_that_would_run_as_a_formula_gets_an_apostrophe_and_a_number_none(typed: str) -> None:
    ((_, _, _), (number, item, _)) = read_csv(table((-2.5, typed, False)))
    assert item.startswith("'")
    assert item[1:] == typed
    assert number == "-2.5"


@given(st.text(), st.floats(allow_nan=False, allow_infinity=False))
def test_whatever_is_typed_comes_back_from_csv_and_json(text: str, number: float) -> None:
    (_, (digits, item, _)) = read_csv(table((number, text, False)))
    assert float(digits) == number
    assert item == safe_text(text)
    assert not item.lstrip().startswith(("=", "+", "-", "@"))
    ((row),) = json.loads("".join(written(table((number, text, False)), Form.JSON)))["rows"]
    assert row == {"error_k": number, "item": text, "simulated": False}


def test_json_of_no_rows_is_json() -> None:
    assert json.loads("".join(written(table(), Form.JSON))) == {
        "table": "results",
        "units": {"error_k": "K"},
        "rows": [],
    }


def test_times_have_the_offset_of_the_shop() -> None:
    utc_s = datetime(2026, 7, 1, 10, 0, 0, 250_000, tzinfo=UTC).timestamp()
    text = iso_time(utc_s, timezone(timedelta(hours=3)))
    assert text == "2026-07-01T13:00:00.250+03:00"
    assert datetime.fromisoformat(text).timestamp() == utc_s
    assert iso_time(None, UTC) is None


def test_a_file_that_is_neither_is_refused() -> None:
    assert (form_of("a.CSV"), form_of("b.json")) == (Form.CSV, Form.JSON)
    with pytest.raises(DeskError, match=r"\.csv or \.json"):
        form_of("results.xlsx")
