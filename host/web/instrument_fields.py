"""Fields of the form that adds an instrument, by its kind."""

from dataclasses import dataclass
from enum import StrEnum

from host.store.instrument_kind import InstrumentKind


class Entry(StrEnum):
    """How a field is read."""

    TEXT = "text"
    DAY = "day"
    NUMBER = "number"
    TEMPERATURE = "temperature"
    PERCENT = "percent"
    TICK = "tick"
    ROWS = "rows"


@dataclass(frozen=True, slots=True, kw_only=True)
class FormField:
    """One field.

    Attributes
    ----------
    name : str
        As in a register file.
    label : str
        With its unit.
    hint : str
    entry : Entry
    needed : bool
        Whether it must be filled in.
    columns : tuple[str, ...]
        Of rows: one row a line, its numbers in this order; the last may stay away where ``may_lack`` says so.
    may_lack : int
        How many of the last columns a row may lack.
    """

    name: str
    label: str
    hint: str = ""
    entry: Entry = Entry.NUMBER
    needed: bool = True
    columns: tuple[str, ...] = ()
    may_lack: int = 0


_COMMON = (
    FormField(
        name="serial",
        label="Serial, or the name it goes by",
        hint="By this it is known from now on.",
        entry=Entry.TEXT,
    ),
    FormField(
        name="certificate",
        label="Certificate number",
        hint="Empty: it was never calibrated, and its maker's word counts.",
        entry=Entry.TEXT,
        needed=False,
    ),
    FormField(name="issuer", label="Who issued it", hint="Empty: its maker.", entry=Entry.TEXT, needed=False),
    FormField(
        name="issued",
        label="Date of the certificate",
        hint="Year-month-day: 2025-03-01. As bought: the day it came.",
        entry=Entry.DAY,
    ),
    FormField(
        name="due",
        label="Due again",
        hint="As your shop decides. Empty: the shop's own interval, or none.",
        entry=Entry.DAY,
        needed=False,
    ),
    FormField(
        name="station",
        label="Station that it is kept at",
        hint="By its name: bench-3. Empty: it serves every station that has none of its own.",
        entry=Entry.TEXT,
        needed=False,
    ),
    FormField(
        name="adjusted",
        label="It was adjusted or repaired before these values were taken",
        hint="Its history begins anew with them.",
        entry=Entry.TICK,
        needed=False,
    ),
)
_K = FormField(name="k", label="Coverage factor k", hint="Most papers say 2.")
_PROBE = (
    FormField(name="a", label="Coefficient a", hint="1/T = a + b ln R + c (ln R)³, T in K.", needed=False),
    FormField(name="b", label="Coefficient b", needed=False),
    FormField(name="c", label="Coefficient c", needed=False),
    FormField(
        name="point",
        label="Or its points",
        hint="One a line: temperature, resistance in Ω. Three or more; the coefficients are fitted to them.",
        entry=Entry.ROWS,
        needed=False,
        columns=("temperature_c", "resistance_ohm"),
    ),
    FormField(name="expanded_u_k", label="Expanded uncertainty U, K", hint="1 K is 1.8 °F."),
    _K,
    FormField(name="valid_from_c", label="Valid from", entry=Entry.TEMPERATURE),
    FormField(name="valid_to_c", label="Valid to", entry=Entry.TEMPERATURE),
)
_BOX = (
    FormField(name="residual_ohm", label="Resistance with every switch at zero, Ω"),
    FormField(
        name="step",
        label="Certified steps",
        hint="One a line: nominal Ω, certified Ω, and its own U in Ω where the paper gives one.",
        entry=Entry.ROWS,
        columns=("nominal_ohm", "certified_ohm", "expanded_u_ohm"),
        may_lack=1,
    ),
    FormField(
        name="expanded_u_relative",
        label="U of the box, part that goes with the value, %",
        hint="0.01 for “0.01 % + 0.03 Ω”.",
        entry=Entry.PERCENT,
        needed=False,
    ),
    FormField(
        name="expanded_u_ohm",
        label="U of the box, fixed part, Ω",
        hint="0.03 for “0.01 % + 0.03 Ω”.",
        needed=False,
    ),
    _K,
)
_METER = (
    FormField(
        name="point",
        label="Certified corrections",
        hint="One a line: what it showed in Ω, the correction to add in Ω, its U in Ω. The lowest first.",
        entry=Entry.ROWS,
        columns=("shown_ohm", "correction_ohm", "expanded_u_ohm"),
    ),
    _K,
)
_THERMOMETER = (
    FormField(name="resolution_k", label="Last digit, K", hint="0.1 where it shows tenths of a degree."),
    FormField(name="accuracy_k", label="Maker's accuracy, ± K", hint="2 for “±2 °C or ±2 %”.", needed=False),
    FormField(
        name="accuracy_percent",
        label="Maker's accuracy, ± % of the reading",
        hint="Where its maker gives one; the larger of the two counts.",
        needed=False,
    ),
    FormField(
        name="point",
        label="Certified corrections",
        hint="One a line: what it showed, the correction to add in K, its U in K. The coldest first.",
        entry=Entry.ROWS,
        needed=False,
        columns=("shown_c", "correction_k", "expanded_u_k"),
    ),
    FormField(name="k", label="Coverage factor k", hint="With corrections. Most papers say 2.", needed=False),
)
_INFRARED = (
    FormField(
        name="emissivity",
        label="Emissivity it is fixed at",
        hint="Empty: it can be set.",
        needed=False,
    ),
    FormField(
        name="certified_emissivity",
        label="Emissivity it was set to when certified",
        hint="With corrections, where it can be set: they hold for that setting alone.",
        needed=False,
    ),
    FormField(name="distance_to_spot", label="Distance to spot", hint="12 for 12 : 1, as printed on it."),
    FormField(
        name="smallest_spot_mm",
        label="Smallest spot, mm",
        hint="Where its maker gives one.",
        needed=False,
    ),
    FormField(name="band_from_um", label="Band from, µm", hint="Most see 8 to 14 µm."),
    FormField(name="band_to_um", label="Band to, µm"),
)
_RIG_INFRARED = (
    FormField(
        name="certified_emissivity",
        label="Emissivity in its cell when certified",
        hint="With corrections: they hold for that alone.",
        needed=False,
    ),
)
_ARTEFACT = (
    FormField(name="resistance_ohm", label="Of a fixed resistor: its resistance, Ω", needed=False),
    FormField(name="expanded_u_ohm", label="and its U, Ω", needed=False),
    FormField(
        name="curve",
        label="Of a sender: the curve by which its error is told",
        hint="By its name: ntc-310-80c.",
        entry=Entry.TEXT,
        needed=False,
    ),
    FormField(
        name="point",
        label="and its certified errors",
        hint="One a line: temperature, error in K (indicated minus true), its U in K.",
        entry=Entry.ROWS,
        needed=False,
        columns=("temperature_c", "error_k", "expanded_u_k"),
    ),
    _K,
)


def fields_of(kind: InstrumentKind) -> tuple[FormField, ...]:
    """Fields in the order of the form."""
    if kind is InstrumentKind.PROBE:
        return (*_COMMON, *_PROBE)
    if kind is InstrumentKind.DECADE_BOX:
        return (*_COMMON, *_BOX)
    if kind is InstrumentKind.ARTEFACT:
        return (*_COMMON, *_ARTEFACT)
    if kind is InstrumentKind.METER:
        return (*_COMMON, *_METER)
    if kind is InstrumentKind.INFRARED:
        return (*_COMMON, *_THERMOMETER, *_INFRARED)
    if kind is InstrumentKind.RIG_INFRARED:
        return (*_COMMON, *_THERMOMETER, *_RIG_INFRARED)
    return (*_COMMON, *_THERMOMETER)
