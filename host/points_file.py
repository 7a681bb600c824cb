"""A file of measured points as a shop types it: comma-separated, one point a row."""

import csv
import hashlib
import io
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from calibration.diagnosis import DeadCircuit, DeadPoint
from calibration.temperature_scale import ZERO_CELSIUS_K, celsius_from_fahrenheit
from calibration.thermistor.fit_point import FitPoint
from host.errors import DeskError

TEMPERATURE_COLUMNS = ("temperature_c", "temperature_f")
RESISTANCE_COLUMNS = ("resistance_ohm", "resistance_kohm")
UNCERTAINTY_COLUMNS = ("u_temperature_k", "u_resistance_ohm")
KNOWN_COLUMNS = (*TEMPERATURE_COLUMNS, *RESISTANCE_COLUMNS, *UNCERTAINTY_COLUMNS)

#: Far more points than anybody types.
LONGEST_FILE_BYTES = 1_000_000
#: Beyond these a number was mistyped; what a curve covers is another question.
HOTTEST_TYPED_C = 1000.0
HIGHEST_TYPED_OHM = 1e9
SMALLEST_TYPED_U = 1e-9

# What meters show, and people write, where there is no resistance to be read; a number of zero is short too.
_OPEN_WORDS = frozenset({"ol", "o.l", "o.l.", ".ol", "0l", "0.l", ".0l", "open", "inf", "infinite", "∞"})
_SHORT_WORDS = frozenset({"short", "shorted"})

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
# A column that begins so was meant to count; under any other name it would be left out unseen.
_MEANT_TO_COUNT = ("temp", "res", "u_", "unc", "r_", "t_", "ohm", "kohm")


class PointsFileError(DeskError):
    """A file of points that cannot be read; names file, row, column and what to do.

    Attributes
    ----------
    file : str
    row : int or None
        Line of the file as an editor counts it, the header being line 1.
    column : str or None
        Its name, or its number where it has none.
    words : str
        What is wrong there, without the place.
    """

    def __init__(self, file: str, message: str, *, row: int | None = None, column: str | None = None) -> None:
        where = [file]
        if row is not None:
            where.append(f"row {row}")
        if column is not None:
            where.append(f"column {column}")
        super().__init__(f"{', '.join(where)}: {message}")
        self.words = message
        self.file = file
        self.row = row
        self.column = column


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedPoint:
    """A point with the row it stands in, and the last digit of its resistance as written. [Ω]"""

    row: int
    point: FitPoint
    last_digit_ohm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedDead:
    """A row whose meter showed an open or a short circuit.

    Attributes
    ----------
    row : int
    point : DeadPoint
    typed : str
        As it stands in the file, such as "OL".
    """

    row: int
    point: DeadPoint
    typed: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PointsFile:
    """A file of measured points.

    Attributes
    ----------
    name : str
        As it was given.
    digest : str
        SHA-256 of its bytes.
    temperature_column, resistance_column : str
        The columns it uses.
    unused_columns : tuple[str, ...]
        Columns it has and nobody reads.
    typed : tuple[TypedPoint, ...]
        In the order of the file.
    dead : tuple[TypedDead, ...]
        Rows at which there was no resistance to be read, in the order of the file.
    """

    name: str
    digest: str
    temperature_column: str
    resistance_column: str
    unused_columns: tuple[str, ...]
    typed: tuple[TypedPoint, ...]
    dead: tuple[TypedDead, ...] = ()

    @property
    def points(self) -> tuple[FitPoint, ...]:
        """The points alone, those left out at which the circuit was dead."""
        return tuple(typed.point for typed in self.typed)


def read_points(path: Path) -> PointsFile:
    """Points of a file.

    Raises
    ------
    PointsFileError
        If the file is not there, not text, or any row cannot be read.
    """
    return points_of(_bytes_of(path, str(path)), name=str(path))


def points_of(data: bytes, *, name: str) -> PointsFile:
    """Points of the bytes of a file.

    Raises
    ------
    PointsFileError
        If they are not text, or any row cannot be read.
    """
    rows = _rows_of(_text_of(data, name), name)
    header_line, header = next(rows, (1, []))
    columns = _columns_of(header, name, header_line)
    temperature = _one_of(columns, TEMPERATURE_COLUMNS, name, header_line)
    resistance = _one_of(columns, RESISTANCE_COLUMNS, name, header_line)
    read = [_Row(name, line, columns, cells).read(temperature, resistance) for line, cells in rows]
    if not read:
        raise PointsFileError(name, "there is no point below the header. Add one a row.")
    return PointsFile(
        name=name,
        digest=hashlib.sha256(data).hexdigest(),
        temperature_column=temperature,
        resistance_column=resistance,
        unused_columns=tuple(column for column in columns if column not in KNOWN_COLUMNS),
        typed=tuple(one for one in read if isinstance(one, TypedPoint)),
        dead=tuple(one for one in read if isinstance(one, TypedDead)),
    )


def dead_circuit_of(text: str) -> DeadCircuit | None:
    """What a meter's word says of the circuit; None where it is no such word."""
    word = text.strip().lower()
    if word in _OPEN_WORDS:
        return DeadCircuit.OPEN
    if word in _SHORT_WORDS or (_NUMBER.fullmatch(word) and float(word) == 0.0):
        return DeadCircuit.SHORT
    return None


def _bytes_of(path: Path, name: str) -> bytes:
    if path.is_dir():
        raise PointsFileError(name, "this is a folder. Name the CSV file in it.")
    try:
        with path.open("rb") as file:
            data = file.read(LONGEST_FILE_BYTES + 1)
    except FileNotFoundError as error:
        raise PointsFileError(name, "there is no such file. Check the name and the folder.") from error
    except OSError as error:
        raise PointsFileError(name, f"cannot be read ({error.strerror}). Check its permissions.") from error
    if len(data) > LONGEST_FILE_BYTES:
        raise PointsFileError(name, "is over 1 MB, which is no list of typed points. Name the CSV file.")
    if not data.strip():
        raise PointsFileError(name, "the file is empty. Give it a header and one point a row.")
    return data


def _text_of(data: bytes, name: str) -> str:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = data[: error.start].count(b"\n") + 1
        raise PointsFileError(
            name, "is not UTF-8 text. Save it as CSV with UTF-8 encoding.", row=row
        ) from error
    if "\0" in text:
        row = text[: text.index("\0")].count("\n") + 1
        raise PointsFileError(name, "holds bytes that are no text. Save it as CSV, UTF-8.", row=row)
    return text


def _rows_of(text: str, name: str) -> Iterator[tuple[int, list[str]]]:
    """Line number and cells of every row that is not blank."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        for cells in reader:
            stripped = [cell.strip() for cell in cells]
            if any(stripped):
                yield reader.line_num, stripped
    except csv.Error as error:
        raise PointsFileError(
            name, f"the quotes do not match ({error}). Remove them.", row=reader.line_num
        ) from error


def _columns_of(header: list[str], name: str, line: int) -> list[str]:
    columns = [column.strip().lower() for column in header]
    for separator, words in ((";", "semicolons"), ("\t", "tabs")):
        if any(separator in column for column in columns):
            raise PointsFileError(
                name,
                f"is separated by {words}. Save it with commas, and a point in decimals.",
                row=line,
                column="1",
            )
    for column in columns:
        if column and columns.count(column) > 1:
            raise PointsFileError(name, "stands there twice. Remove one.", row=line, column=column)
        if column not in KNOWN_COLUMNS and column.startswith(_MEANT_TO_COUNT):
            raise PointsFileError(
                name, f"is not known. Known: {', '.join(KNOWN_COLUMNS)}.", row=line, column=column
            )
    return columns


def _one_of(columns: list[str], choices: tuple[str, str], name: str, line: int) -> str:
    found = [choice for choice in choices if choice in columns]
    if len(found) == 2:
        raise PointsFileError(
            name, f"{found[0]} and {found[1]} are both there. Keep one.", row=line, column=found[1]
        )
    if not found:
        raise PointsFileError(
            name, f"is missing, and so is {choices[1]}. Add one to the header.", row=line, column=choices[0]
        )
    return found[0]


class _Row:
    """One row while it is read."""

    def __init__(self, file: str, line: int, columns: list[str], cells: list[str]) -> None:
        if len(cells) > len(columns):
            raise PointsFileError(
                file,
                f"has {len(cells)} cells under {len(columns)} columns. Write decimals with a point and "
                "thousands without a comma.",
                row=line,
                column=str(len(columns) + 1),
            )
        self._file = file
        self._line = line
        self._cells: Mapping[str, str] = dict(zip(columns, cells, strict=False))

    def read(self, temperature: str, resistance: str) -> TypedPoint | TypedDead:
        temperature_c = self._temperature_c(temperature)
        u_temperature_k = self._uncertainty(UNCERTAINTY_COLUMNS[0])
        u_resistance_ohm = self._uncertainty(UNCERTAINTY_COLUMNS[1])
        circuit = self._dead_circuit(resistance)
        if circuit is not None:
            point = DeadPoint(temperature_c=temperature_c, circuit=circuit)
            return TypedDead(row=self._line, point=point, typed=self._cells[resistance])
        return TypedPoint(
            row=self._line,
            point=FitPoint(
                temperature_c=temperature_c,
                resistance_ohm=self._resistance_ohm(resistance),
                u_temperature_k=u_temperature_k,
                u_resistance_ohm=u_resistance_ohm,
            ),
            last_digit_ohm=self._last_digit_ohm(resistance),
        )

    def _dead_circuit(self, column: str) -> DeadCircuit | None:
        """Open or short where that is what the meter showed."""
        return dead_circuit_of(self._cells.get(column, ""))

    def _temperature_c(self, column: str) -> float:
        number = self._number(column)
        temperature_c = celsius_from_fahrenheit(number) if column.endswith("_f") else number
        if not temperature_c > -ZERO_CELSIUS_K:
            raise self._refusal(column, f"{number:g} is below absolute zero. Check the sign and the unit.")
        if not temperature_c <= HOTTEST_TYPED_C:
            raise self._refusal(column, f"{number:g} is hotter than any sender gets. Check the number.")
        return temperature_c

    def _resistance_ohm(self, column: str) -> float:
        number = self._number(column)
        if not number > 0.0:
            raise self._refusal(
                column,
                f"{number:g} is no resistance: it must be above zero, or 0 for a short. Measure again.",
            )
        resistance_ohm = number * 1000.0 if column.endswith("_kohm") else number
        if not resistance_ohm <= HIGHEST_TYPED_OHM:
            raise self._refusal(
                column, f"{number:g} is an open circuit: check leads and unit, or write OL as the meter does."
            )
        return resistance_ohm

    def _last_digit_ohm(self, column: str) -> float:
        exponent = Decimal(self._cells[column]).as_tuple().exponent
        digit = 10.0 ** int(exponent)
        return digit * 1000.0 if column.endswith("_kohm") else digit

    def _uncertainty(self, column: str) -> float | None:
        if not self._cells.get(column):
            return None
        number = self._number(column)
        if not SMALLEST_TYPED_U <= number <= HIGHEST_TYPED_OHM:
            raise self._refusal(column, f"{number:g} must be above zero. Leave it empty where it is unknown.")
        return number

    def _number(self, column: str) -> float:
        text = self._cells.get(column, "")
        if not text:
            raise self._refusal(column, "is empty. Fill it in, or remove the row.")
        if not _NUMBER.fullmatch(text):
            how = "decimals with a point" if "," in text else "digits alone"
            raise self._refusal(column, f"{_shortened(text)!r} is not a number. Write {how}, like 20.5.")
        return float(text)

    def _refusal(self, column: str, message: str) -> PointsFileError:
        return PointsFileError(self._file, message, row=self._line, column=column)


def _shortened(text: str) -> str:
    return text if len(text) <= 24 else f"{text[:24]}…"
