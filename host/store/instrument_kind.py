"""Kinds of instruments of the register, and what each is for."""

from enum import StrEnum


class Purpose(StrEnum):
    """What an instrument is for; the value is the heading it stands under."""

    RESULTS = "What a result rests on"
    WITNESS = "Witnesses in the bath"
    VEHICLE = "On the vehicle"
    ROUNDS = "What goes round the stations"


class InstrumentKind(StrEnum):
    """Kind of an instrument, by its word in register files."""

    PROBE = "probe"
    DECADE_BOX = "decade_box"
    METER = "meter"
    WITNESS = "witness"
    INFRARED = "infrared"
    RIG_INFRARED = "rig_infrared"
    SCAN_TOOL = "scan_tool"
    GAUGE = "gauge"
    ARTEFACT = "artefact"

    @property
    def words(self) -> str:
        """As a person says it."""
        return {
            InstrumentKind.PROBE: "reference probe",
            InstrumentKind.DECADE_BOX: "decade box",
            InstrumentKind.METER: "resistance meter",
            InstrumentKind.WITNESS: "contact thermometer or 1-wire witness",
            InstrumentKind.INFRARED: "infrared thermometer",
            InstrumentKind.RIG_INFRARED: "infrared sensor of a station",
            InstrumentKind.SCAN_TOOL: "scan tool",
            InstrumentKind.GAUGE: "gauge",
            InstrumentKind.ARTEFACT: "artefact",
        }[self]

    @property
    def purpose(self) -> Purpose:
        """What it is for."""
        if self is InstrumentKind.ARTEFACT:
            return Purpose.ROUNDS
        if not self.is_thermometer:
            return Purpose.RESULTS
        at_the_bath = self in (InstrumentKind.WITNESS, InstrumentKind.RIG_INFRARED)
        return Purpose.WITNESS if at_the_bath else Purpose.VEHICLE

    @property
    def is_thermometer(self) -> bool:
        """Whether it shows a temperature that its certificate corrects."""
        return self not in (
            InstrumentKind.PROBE,
            InstrumentKind.DECADE_BOX,
            InstrumentKind.METER,
            InstrumentKind.ARTEFACT,
        )
