"""Looks for an ohms check that a new run may rest on, so that the next sender takes some minutes less."""

from collections.abc import Mapping, Sequence
from typing import Any

from host.citation import Citation
from host.procedures.ohms.box_setting import BoxSetting
from host.procedures.ohms.passed_ohms_checks import made_checks
from host.procedures.ohms.reused_check import GOOD_FOR_S, ReusedCheck
from host.store import Store


def check_to_reuse(
    store: Store,
    *,
    station: str,
    rig: str,
    decade_box: Mapping[str, Any],
    plan: Sequence[BoxSetting],
) -> ReusedCheck | None:
    """Newest ohms check of a station, made alone or inside a sender check, if a new run may rest on it.

    It has to be passed, under 24 hours old, of the same rig, with the same settings on the same ranges and
    by the same certificate of the decade box. One that did not come to its end since then speaks against
    all that went before it.

    Parameters
    ----------
    store : Store
    station, rig : str
        Where, and which rig is at work there now.
    decade_box : Mapping[str, Any]
        Snapshot of the register.
    plan : sequence of BoxSetting
        What the new run would read.
    """
    oldest_utc_s = store.now() - GOOD_FOR_S
    for made in made_checks(store, station):
        if made.touched_utc_s < oldest_utc_s or made.has_failed:
            return None
        if made.checked_utc_s is None:
            continue
        serves = (
            made.checked_utc_s >= oldest_utc_s
            and dict(made.decade_box) == dict(decade_box)
            and made.plan == tuple(plan)
            and _rig_of(store, made.box_read[0]) == rig
        )
        return made.as_reused if serves else None
    return None


def _rig_of(store: Store, cited: Citation) -> str | None:
    packs = store.readings(cited.station, cited.boot, cited.first, cited.first)
    return packs[0].rig if packs else None
