"""What a certificate is about."""

from enum import StrEnum


class Kind(StrEnum):
    """Kinds of paper that leave the shop; the word is the one in the data."""

    SENDER = "sender"
    HANDHELD_INFRARED = "handheld_infrared"
    RIG_INFRARED = "rig_infrared"
    REFERENCE_PROBE = "reference_probe"
    OHMS_CHANNEL = "ohms_channel"
    DECADE_BOX = "decade_box"
    RESISTANCE_METER = "resistance_meter"
    STATION_ROUND = "station_round"
    IN_PLACE = "in_place"

    @property
    def item_words(self) -> str:
        """What was measured, as it stands in the title."""
        return _ITEMS[self]

    @property
    def paper_word(self) -> str:
        """What the paper is: a certificate, or a record that certifies nothing."""
        return "Record" if self is Kind.IN_PLACE else "Certificate"

    @property
    def has_label(self) -> bool:
        """Whether there is a label for it: a record certifies nothing that one could say."""
        return self is not Kind.IN_PLACE

    @property
    def title(self) -> str:
        """Title of the paper."""
        if self is Kind.IN_PLACE:
            return f"Record of {self.item_words}"
        if self is Kind.STATION_ROUND:
            return f"Certificate of {self.item_words}"
        return f"Calibration certificate for {self.item_words}"


_ITEMS = {
    Kind.SENDER: "a coolant temperature sender",
    Kind.HANDHELD_INFRARED: "a handheld infrared thermometer",
    Kind.RIG_INFRARED: "an infrared sensor of a rig",
    Kind.REFERENCE_PROBE: "a reference probe",
    Kind.OHMS_CHANNEL: "a resistance channel",
    Kind.DECADE_BOX: "a decade box",
    Kind.RESISTANCE_METER: "a resistance meter",
    Kind.STATION_ROUND: "a round through the stations",
    Kind.IN_PLACE: "a comparison on the vehicle",
}
