"""Watches the readings of an ohms check and says when a setting has been read."""

import math

from calibration.contract.readings import Quality, ReadingPack
from host.citation import Citation
from host.procedures.bench_setup import CHANNEL_OF
from host.procedures.event import Event
from host.procedures.ohms.box_setting import BoxSetting
from host.procedures.ohms.ohms_check import OhmsCheckState
from host.procedures.sender.sender_check import Kind
from host.procedures.sender.sender_check_state import SenderCheckState

#: Readings kept of each setting, after one that is let go by.
READINGS_A_SETTING = 8

#: Readings of a setting that may fail before the run stops.
_MOST_BAD = 40


class BoxWatch:
    """Fed each reading in order; the same readings always lead to the same events."""

    def __init__(self) -> None:
        self._held: list[ReadingPack] = []
        self._bad = 0

    def feed(self, state: SenderCheckState | OhmsCheckState, pack: ReadingPack) -> Event | None:
        """Event that a reading leads to, or None."""
        setting = state.next_setting
        if setting is None or not holds(pack, setting):
            self._clear()
            return None
        channel = pack.channels.get(CHANNEL_OF[setting.insertion])
        if channel is None or channel.quality is not Quality.GOOD:
            self._held.clear()
            self._bad += 1
            return self._stopped(setting, channel.reason if channel else None)
        if self._held and self._held[-1].seq + 1 != pack.seq:
            self._held.clear()
        self._held.append(pack)
        if len(self._held) <= READINGS_A_SETTING:
            return None
        citation = Citation.of(self._held[1:])
        self._clear()
        return Event(
            kind=Kind.BOX_READ,
            payload={
                "insertion": setting.insertion.value,
                "range_ohm": setting.range_ohm,
                "setting_ohm": setting.setting_ohm,
                "readings": citation.as_json(),
            },
        )

    def _stopped(self, setting: BoxSetting, reason: str | None) -> Event | None:
        if self._bad < _MOST_BAD:
            return None
        self._clear()
        words = (
            f"The bench cannot read the decade box at {setting.setting_ohm} Ω on the {setting.range_ohm:g} Ω "
            f"range: {reason or 'no reading came'}. Look at the box's plug, then start the check again."
        )
        return Event(kind=Kind.STOPPED, payload={"reason": words})

    def _clear(self) -> None:
        self._held.clear()
        self._bad = 0


def holds(pack: ReadingPack, setting: BoxSetting) -> bool:
    """Tell whether a reading was taken with the box as a setting asks, by what the pack itself says."""
    return (
        pack.insertion is setting.insertion
        and math.isclose(pack.decade_ohm, setting.setting_ohm)
        and (CHANNEL_OF[setting.insertion] == "probe" or math.isclose(pack.range_ohm, setting.range_ohm))
    )
