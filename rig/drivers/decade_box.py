"""The decade box: known resistances by relays, four decades of 1, 2, 4 and 8."""

from rig.drivers.port_expander import PortExpander
from rig.errors import DecadeBoxSettingError


class DecadeBox:
    """Sixteen resistors in series, each shorted by a relay contact that is closed at rest.

    Parameters
    ----------
    expander : PortExpander
        Step n of the box hangs on bit n, in the order of `step_ohm`.
    step_ohm : tuple of int
        1, 2, 4, 8 times each decade, as the wiring file has them. [Ω]
    """

    def __init__(self, *, expander: PortExpander, step_ohm: tuple[int, ...]) -> None:
        self._expander = expander
        self._decades = len(step_ohm) // 4
        self._resistance_ohm = 0
        self._started = False
        self._known = False

    @property
    def resistance_ohm(self) -> float:
        """Nominal setting, as last reached. [Ω]"""
        return float(self._resistance_ohm)

    @property
    def known(self) -> bool:
        """Tell whether the relays hold the setting: False after one that failed on the way."""
        return self._known

    @property
    def highest_ohm(self) -> int:
        """Highest setting: a nine in each decade. [Ω]"""
        return int(10**self._decades) - 1

    def set_resistance(self, resistance_ohm: float) -> None:
        """Set the box. [Ω]

        Raises
        ------
        DecadeBoxSettingError
            If it is not a whole number of ohms that the box can make.
        RelayError
            If the relays cannot be reached; the setting is then not `known`.
        """
        if not 0 <= resistance_ohm <= self.highest_ohm or resistance_ohm != int(resistance_ohm):
            raise DecadeBoxSettingError(resistance_ohm, highest_ohm=self.highest_ohm)
        whole_ohm = int(resistance_ohm)
        self._known = False
        if not self._started:
            self._expander.start()
            self._started = True
        self._expander.write(bits_from_ohm(whole_ohm))
        self._resistance_ohm = whole_ohm
        self._known = True

    def off(self) -> None:
        """All relays at rest: 0 Ω."""
        self.set_resistance(0)


def bits_from_ohm(whole_ohm: int) -> int:
    """Relay bits of a setting: one binary-coded decimal digit for each decade."""
    return sum(int(digit) << 4 * decade for decade, digit in enumerate(reversed(str(whole_ohm))))
