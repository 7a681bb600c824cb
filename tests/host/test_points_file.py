"""Files as shops really save them: what is read, and what is refused in which words."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from host.points_file import PointsFileError, read_points


@pytest.fixture
def saved(tmp_path):
    def save(content: str | bytes) -> Path:
        path = tmp_path / "points.csv"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return save


def refusal(path: Path) -> PointsFileError:
    with pytest.raises(PointsFileError) as caught:
        read_points(path)
    assert "\n" not in str(caught.value)
    assert str(path) in str(caught.value)
    return caught.value


def test_a_plain_file_is_read_in_its_order(saved):
    file = read_points(saved("temperature_c,resistance_ohm\n80,323\n20,2500\n"))
    assert [(p.temperature_c, p.resistance_ohm) for p in file.points] == [(80.0, 323.0), (20.0, 2500.0)]
    assert [typed.row for typed in file.typed] == [2, 3]
    assert all(p.u_temperature_k is None and p.u_resistance_ohm is None for p in file.points)


def test_fahrenheit_and_kilohms_are_converted_at_the_edge(saved):
    file = read_points(saved("resistance_kohm,temperature_f\n2.5,68\n0.323,176\n"))
    assert [(p.temperature_c, p.resistance_ohm) for p in file.points] == [(20.0, 2500.0), (80.0, 323.0)]


def test_uncertainties_are_read_and_may_be_left_empty(saved):
    file = read_points(
        saved("temperature_c,resistance_ohm,u_temperature_k,u_resistance_ohm\n20,2500,0.2,\n80,323,,1.5\n")
    )
    assert [(p.u_temperature_k, p.u_resistance_ohm) for p in file.points] == [(0.2, None), (None, 1.5)]


@pytest.mark.parametrize(
    "content",
    [
        "\ufefftemperature_c,resistance_ohm\n20,2500\n",
        "temperature_c,resistance_ohm\r\n20,2500\r\n",
        " Temperature_C , RESISTANCE_OHM \n 20 , 2500 \n",
        '"temperature_c","resistance_ohm"\n"20","2500"\n',
        "temperature_c,resistance_ohm\n\n20,2500\n,\n",
        "temperature_c,resistance_ohm,remark\n20,2.5e3,kettle\n",
        "temperature_c,resistance_ohm\n+20.0,2500.\n",
    ],
    ids=["byte order mark", "windows", "spaces and capitals", "quotes", "blank rows", "remark", "signs"],
)
def test_files_as_spreadsheets_save_them_are_read(saved, content):
    points = read_points(saved(content)).points
    assert [(p.temperature_c, p.resistance_ohm) for p in points] == [(20.0, 2500.0)]


def test_a_column_nobody_reads_is_remembered(saved):
    assert read_points(saved("temperature_c,resistance_ohm,remark\n20,5,x\n")).unused_columns == ("remark",)


@pytest.mark.parametrize(
    ("typed", "circuit"),
    [
        ("OL", "open"), ("O.L", "open"), (".OL", "open"), ("0L", "open"), ("0.L", "open"), ("open", "open"),
        ("Inf", "open"), ("∞", "open"), ("0", "short"), ("0.00", "short"), ("SHORT", "short"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("unit", ["ohm", "kohm"])
def test_what_a_meter_shows_of_a_dead_circuit_is_kept_beside_the_points(saved, typed, circuit, unit):
    file = read_points(saved(f"temperature_c,resistance_{unit}\n20,{typed}\n80,0.323\n"))
    (dead,) = file.dead
    assert (dead.row, dead.typed, dead.point.circuit, dead.point.temperature_c) == (2, typed, circuit, 20.0)
    assert [typed_point.row for typed_point in file.typed] == [3]


HEAD = "temperature_c,resistance_ohm\n"


@pytest.mark.parametrize(
    ("content", "row", "column", "words"),
    [
        (HEAD + "20,2500\n80,-3\n", 3, "resistance_ohm", "must be above zero"),
        (HEAD + "20,nan\n", 2, "resistance_ohm", "'nan' is not a number"),
        (HEAD + "inf,2500\n", 2, "temperature_c", "'inf' is not a number"),
        (HEAD + "20,1e400\n", 2, "resistance_ohm", "open circuit"),
        (HEAD + "20,2500 ohm\n", 2, "resistance_ohm", "Write digits alone"),
        (HEAD + '"20,5",2500\n', 2, "temperature_c", "Write decimals with a point"),
        (HEAD + "20,5,2500\n", 2, "3", "Write decimals with a point"),
        (HEAD + "1_000,5\n", 2, "temperature_c", "is not a number"),
        (HEAD + "20\n", 2, "resistance_ohm", "is empty"),
        (HEAD + ",2500\n", 2, "temperature_c", "is empty"),
        (HEAD + "-300,2500\n", 2, "temperature_c", "below absolute zero"),
        (HEAD + "2500,20\n", 2, "temperature_c", "hotter than any sender"),
        ("temperature_f,resistance_ohm\n-500,2500\n", 2, "temperature_f", "below absolute zero"),
        ("temperature_c;resistance_ohm\n20;2500\n", 1, "1", "semicolons"),
        ("temperature_c\tresistance_ohm\n20\t2500\n", 1, "1", "tabs"),
        ("temperature_c,temperature_f,resistance_ohm\n20,68,2\n", 1, "temperature_f", "Keep one"),
        ("temperature_c,resistance_ohm,resistance_kohm\n20,2,1\n", 1, "resistance_kohm", "Keep one"),
        ("temperature_c,temperature_c,resistance_ohm\n20,20,2\n", 1, "temperature_c", "twice"),
        ("temperature_c\n20\n", 1, "resistance_ohm", "is missing"),
        ("20,2500\n80,323\n", 1, "temperature_c", "is missing"),
        ("temperature_c,resistance\n20,2\n", 1, "resistance", "is not known"),
        ("temperature_c,resistance_ohm,u_temp\n20,2,1\n", 1, "u_temp", "is not known"),
        (HEAD.replace("\n", ",u_temperature_k\n") + "20,2500,0\n", 2, "u_temperature_k", "above zero"),
        (HEAD.replace("\n", ",u_resistance_ohm\n") + "20,2500,-1\n", 2, "u_resistance_ohm", "above zero"),
        (HEAD + '20,"2500\n', 2, None, "quotes"),
        (HEAD, None, None, "no point below the header"),
        ("", None, None, "is empty"),
        ("  \n\n", None, None, "is empty"),
        (b"temperature_c,resistance_ohm\n20\xb0,2500\n", 2, None, "not UTF-8"),
        ("temperature_c,resistance_ohm\n20,2500\n".encode("utf-16"), 1, None, "not UTF-8"),
        (HEAD + "20,25\x0000\n", 2, None, "no text"),
    ],
)
def test_what_cannot_be_read_is_named_by_row_and_column(saved, content, row, column, words):
    error = refusal(saved(content))
    assert (error.row, error.column) == (row, column)
    assert words in str(error)
    if row is not None:
        assert f"row {row}" in str(error)
    if column is not None:
        assert f"column {column}" in str(error)


def test_a_file_that_is_not_there_is_said(tmp_path):
    assert "no such file" in str(refusal(tmp_path / "nothing.csv"))


def test_a_folder_is_no_file(tmp_path):
    assert "folder" in str(refusal(tmp_path))


def test_a_file_far_too_long_is_refused(saved):
    assert "over 1 MB" in str(refusal(saved(HEAD + "20,2500\n" * 200_000)))


@given(content=st.binary(max_size=200))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_bytes_are_points_or_one_line(saved, content):
    path = saved(content)
    try:
        read_points(path)
    except PointsFileError as error:
        assert "\n" not in str(error)


@given(cells=st.lists(st.text(alphabet="0123456789.,-+eE;\"' \tnaif", max_size=12), max_size=8))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_row_is_a_point_or_one_line(saved, cells):
    path = saved(HEAD + ",".join(cells) + "\n")
    try:
        points = read_points(path).points
    except PointsFileError as error:
        assert str(path) in str(error)
    else:
        assert all(point.resistance_ohm > 0.0 for point in points)
