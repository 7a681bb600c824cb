"""A reference curve: the published behaviour a sender is meant to follow, with its tolerance."""

import math
from dataclasses import dataclass

from calibration.curves.row_slope import RowSlope
from calibration.errors import CurveError, CurveRangeError
from calibration.thermistor import ThermistorCurve
from calibration.thermistor.table import TableCurve

#: Curves of so few rows interpolate badly and judge only at the rows themselves.
FEW_ROWS = 3
#: How near a printed row a point must lie where only the rows judge. [K]
NEAR_A_ROW_K = 0.5
#: Beyond these no coolant sender is read: the wires are open or shorted. [°C]
COLDEST_INDICATED_C, HOTTEST_INDICATED_C = -80.0, 300.0

# Two spellings of one printed temperature, °C and °F, differ by rounding in the last binary digits. [K]
_SAME_TEMPERATURE_K = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveRow:
    """One printed row.

    Attributes
    ----------
    temperature_c : float
        [°C]
    resistance_ohm : float
        Nominal as printed, else the middle of the printed limits. [Ω]
    min_ohm, max_ohm : float or None
        Limits, None where none are printed. [Ω]
    """

    temperature_c: float
    resistance_ohm: float
    min_ohm: float | None = None
    max_ohm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferenceCurve:
    """What a computer in the vehicle holds, and how far a good sender may be from it.

    Attributes
    ----------
    name, title : str
    source : str
        The document it was printed in.
    tolerance : str
        As printed, or ``unknown``.
    wiring : str
        Wiring style as printed, or ``unknown``.
    allowed_current_ma : float or None
        Largest measuring current, None where unknown. [mA]
    note : str
        What else the document says; may be empty.
    content_hash : str
        SHA-256 of the curve's file.
    rows : tuple[CurveRow, ...]
        Printed rows, rising in temperature; empty where coefficients are printed.
    form : str
        ``table``, or the equation the coefficients belong to.
    coefficients : tuple[tuple[str, float], ...]
        Printed coefficients; empty for a table.
    nominal : ThermistorCurve
        The curve itself.
    lower, upper : TableCurve or None
        Limits of resistance between the rows.
    tolerance_percent : float or None
        Limits of resistance where coefficients are printed with one percentage.
    valid_from_c, valid_to_c : float
        Range it was printed for. [°C]
    """

    name: str
    title: str
    source: str
    tolerance: str
    wiring: str
    allowed_current_ma: float | None
    note: str
    content_hash: str
    rows: tuple[CurveRow, ...]
    form: str
    coefficients: tuple[tuple[str, float], ...]
    nominal: ThermistorCurve
    lower: TableCurve | None
    upper: TableCurve | None
    tolerance_percent: float | None
    valid_from_c: float
    valid_to_c: float

    @property
    def printed_temperatures_c(self) -> tuple[float, ...]:
        """Temperatures of the printed rows. [°C]"""
        return tuple(row.temperature_c for row in self.rows)

    @property
    def judges_only_printed_rows(self) -> bool:
        """Whether the rows are too few to read between them."""
        return 0 < len(self.rows) <= FEW_ROWS

    @property
    def has_tolerance(self) -> bool:
        """Whether the document says how far a good sender may be off."""
        return self.lower is not None or self.tolerance_percent is not None

    def resistance_ohm(self, temperature_c: float) -> float:
        """Nominal resistance. [Ω]

        Raises
        ------
        CurveRangeError
            If the curve was not printed for that temperature.
        """
        self._refuse_outside(temperature_c)
        return self.nominal.resistance_ohm(self._snapped(temperature_c))

    def nominal_ohm(self, at_c: float) -> float:
        """Nominal resistance where the curve judges: near a row by its slope, if only rows judge. [Ω]

        Raises
        ------
        CurveRangeError
            If the curve cannot judge at that temperature.
        """
        if self.judges_only_printed_rows:
            slope = self._row_slope(at_c)
            return slope.carried_ohm(slope.resistance_ohm, at_c)
        return self.resistance_ohm(at_c)

    def temperature_c(self, resistance_ohm: float) -> float:
        """Temperature at which the nominal curve has ``resistance_ohm``. [°C]

        Raises
        ------
        CurveRangeError
            If the curve does not reach that resistance; `indicated_c` goes on.
        """
        highest_ohm = self.nominal.resistance_ohm(self.valid_from_c)
        lowest_ohm = self.nominal.resistance_ohm(self.valid_to_c)
        if not lowest_ohm <= resistance_ohm <= highest_ohm:
            raise CurveRangeError(
                f"{resistance_ohm:.6g} Ω is outside the curve {self.name}, which runs from "
                f"{lowest_ohm:.6g} to {highest_ohm:.6g} Ω.",
                asked=resistance_ohm,
                lowest=lowest_ohm,
                highest=highest_ohm,
                unit="Ω",
            )
        return self.nominal.temperature_c(resistance_ohm)

    def sensitivity_k_per_ohm(self, resistance_ohm: float) -> float:
        """Change of indicated temperature with resistance, negative, also beyond the printed range. [K/Ω]"""
        return self.nominal.sensitivity_k_per_ohm(resistance_ohm)

    def indicated_c(self, resistance_ohm: float, *, at_c: float) -> float:
        """What a computer holding this curve would show for a sender that is at ``at_c``. [°C]

        Beyond the printed range the curve goes on with the slope of its last rows. A curve of two or
        three rows is read by the slope at the row nearest to ``at_c``, and only near a row.

        Raises
        ------
        CurveRangeError
            If ``at_c`` is not a temperature the curve can judge at, or ``resistance_ohm`` leads to no
            temperature a coolant sender can have: an open or a short circuit.
        """
        if self.judges_only_printed_rows:
            shown_c = self._row_slope(at_c).temperature_c_of(resistance_ohm)
        else:
            self._refuse_outside(at_c)
            shown_c = self._extended_c(resistance_ohm)
        if not COLDEST_INDICATED_C <= shown_c <= HOTTEST_INDICATED_C:
            kind = "a short circuit" if shown_c > HOTTEST_INDICATED_C else "an open circuit"
            raise CurveRangeError(
                f"{resistance_ohm:.6g} Ω on the curve {self.name} is no temperature but {kind}, or ohms and "
                "kilohms were mixed up. Check the unit, the leads and the connector.",
                asked=resistance_ohm,
                lowest=self.nominal.resistance_ohm(self.valid_to_c),
                highest=self.nominal.resistance_ohm(self.valid_from_c),
                unit="Ω",
            )
        return shown_c

    def reaches(self, resistance_ohm: float) -> bool:
        """Whether the printed range covers ``resistance_ohm``."""
        lowest_ohm = self.nominal.resistance_ohm(self.valid_to_c)
        return lowest_ohm <= resistance_ohm <= self.nominal.resistance_ohm(self.valid_from_c)

    def limits_ohm(self, temperature_c: float) -> tuple[float, float] | None:
        """Least and largest resistance of a good sender; None where no tolerance is printed. [Ω]

        At a printed temperature the limits as printed; between the rows by the same interpolation as
        the curve; near a row of a curve that judges only there, its limits carried along the slope.

        Raises
        ------
        CurveRangeError
            If the curve cannot judge at that temperature.
        """
        if not self.has_tolerance:
            return None
        if self.judges_only_printed_rows:
            slope = self._row_slope(temperature_c)
            least, largest = self._printed_limits(self._row_near(temperature_c, within_k=NEAR_A_ROW_K))
            return slope.carried_ohm(least, temperature_c), slope.carried_ohm(largest, temperature_c)
        self._refuse_outside(temperature_c)
        at_c = self._snapped(temperature_c)
        if self.lower is not None and self.upper is not None:
            return self.lower.resistance_ohm(at_c), self.upper.resistance_ohm(at_c)
        assert self.tolerance_percent is not None
        nominal_ohm = self.nominal.resistance_ohm(at_c)
        part = self.tolerance_percent / 100.0
        return nominal_ohm * (1.0 - part), nominal_ohm * (1.0 + part)

    def limit_k(self, temperature_c: float, error_k: float) -> float:
        """Largest permitted magnitude of the error, on the side of ``error_k``. [K]

        So that ``|error| <= limit`` says the same as the printed ``R_min <= R <= R_max``.

        Parameters
        ----------
        temperature_c : float
            True temperature. [°C]
        error_k : float
            Indicated minus true: above zero where the resistance is too low. [K]

        Raises
        ------
        CurveError
            If the curve has no tolerance, or cannot judge at that temperature.
        """
        limits = self.limits_ohm(temperature_c)
        if limits is None:
            raise CurveError(
                f"The curve {self.name} has no printed tolerance: give the limit yourself, in kelvin."
            )
        least_ohm, largest_ohm = limits
        if error_k > 0.0:
            return self.indicated_c(least_ohm, at_c=temperature_c) - temperature_c
        return temperature_c - self.indicated_c(largest_ohm, at_c=temperature_c)

    def doubt_k(self, temperature_c: float, error_k: float) -> float:
        """Half-width of what the curve itself leaves open at a point; nothing at a printed row. [K]

        Between rows: how far two fair interpolations differ. On a curve of two or three rows: its slope
        is only roughly known, which matters as far as the point and its error lie from the row.
        """
        if self.judges_only_printed_rows:
            slope = self._row_slope(temperature_c)
            return slope.relative_doubt * (abs(temperature_c - slope.temperature_c) + abs(error_k))
        if isinstance(self.nominal, TableCurve):
            return self.nominal.interpolation_doubt_k(self._snapped(temperature_c))
        return 0.0

    def _extended_c(self, resistance_ohm: float) -> float:
        if isinstance(self.nominal, TableCurve):
            return self.nominal.extended_temperature_c(resistance_ohm)
        shown_c = self.nominal.temperature_c(resistance_ohm)
        # Past the pole of the equation 1/T is negative: hotter than anything.
        return shown_c if shown_c > -273.15 else math.inf

    def _row_slope(self, temperature_c: float) -> RowSlope:
        row = self._row_near(temperature_c, within_k=NEAR_A_ROW_K)
        here = self.rows.index(row)
        neighbours = self.rows[max(here - 1, 0) : here + 2]
        assert isinstance(self.nominal, TableCurve)
        return RowSlope(
            temperature_c=row.temperature_c,
            resistance_ohm=row.resistance_ohm,
            beta_k=self.nominal.local_beta_k(row.temperature_c),
            next_row_k=max(abs(other.temperature_c - row.temperature_c) for other in neighbours),
        )

    def _row_near(self, temperature_c: float, *, within_k: float) -> CurveRow:
        row = min(self.rows, key=lambda row: abs(row.temperature_c - temperature_c))
        if not abs(row.temperature_c - temperature_c) <= within_k + _SAME_TEMPERATURE_K:
            printed = ", ".join(f"{t:g}" for t in self.printed_temperatures_c)
            raise CurveRangeError(
                f"The curve {self.name} has {len(self.rows)} rows, too few to read between them: "
                f"{temperature_c:.6g} °C cannot be judged. Measure within {within_k:g} K of {printed} °C.",
                asked=temperature_c,
                lowest=row.temperature_c - within_k,
                highest=row.temperature_c + within_k,
                unit="°C",
            )
        return row

    def _snapped(self, temperature_c: float) -> float:
        for printed_c in (*self.printed_temperatures_c, self.valid_from_c, self.valid_to_c):
            if abs(temperature_c - printed_c) <= _SAME_TEMPERATURE_K:
                return printed_c
        return temperature_c

    def _refuse_outside(self, temperature_c: float) -> None:
        if not self.valid_from_c <= self._snapped(temperature_c) <= self.valid_to_c:
            raise CurveRangeError(
                f"{temperature_c:.6g} °C is outside the curve {self.name}, printed for "
                f"{self.valid_from_c:g} to {self.valid_to_c:g} °C. Measure inside that "
                "range or choose another curve.",
                asked=temperature_c,
                lowest=self.valid_from_c,
                highest=self.valid_to_c,
                unit="°C",
            )

    @staticmethod
    def _printed_limits(row: CurveRow) -> tuple[float, float]:
        assert row.min_ohm is not None and row.max_ohm is not None
        return row.min_ohm, row.max_ohm
