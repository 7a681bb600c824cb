"""Whether an infrared thermometer was adjusted after a check: what was found before then holds no more."""

from collections.abc import Mapping
from typing import Any

from host.procedures.run_kind import RunKind
from host.store import Store
from host.store.instrument_standing import InstrumentStanding
from host.store.runs import Run


def adjusted_after(store: Store, run: int) -> Run | None:
    """Newest check as left of the thermometer of a check, begun after that; None where there is none."""
    checks = store.runs.of_kind(RunKind.INFRARED_CHECK)
    known = {_whose(check.settings) for check in checks if check.number == run}
    return next((one for one in _as_left(checks) if one.number > run and _whose(one.settings) in known), None)


def words_of_later_adjustment(store: Store, run: int) -> str:
    """Why the corrections of a check are none of the thermometer any more; empty where they are."""
    later = adjusted_after(store, run)
    if later is None:
        return ""
    return (
        f"These corrections are of before it was adjusted ({later.settings['done']}), and would overrule "
        f"those of after it: go on with check {later.number:04d}, as left, and put its own into the register."
    )


def adjusted_since_in_use(store: Store, standing: InstrumentStanding) -> str:
    """Why the corrections in force of a thermometer are of before an adjustment; empty where they are not."""
    whose = (standing.kind.value, standing.serial)
    for later in _as_left(store.runs.of_kind(RunKind.INFRARED_CHECK)):
        if later.started_utc_s > standing.put_to_use_utc_s and _whose(later.settings) == whose:
            return (
                f"{standing.serial} was adjusted since its certificate {standing.in_force.certificate} "
                f"({later.settings['done']}): that corrects it no more. Finish check {later.number:04d}, as "
                "left, and put its corrections into the register. If nothing was changed after all, put it "
                "to use again on its page of the register."
            )
    return ""


def _as_left(checks: list[Run]) -> list[Run]:
    """Those made as left, the newest first."""
    return [check for check in reversed(checks) if check.settings.get("as_left_of") is not None]


def _whose(settings: Mapping[str, Any]) -> tuple[str, str]:
    """Kind and serial of what was checked; the station of a sensor that has none."""
    instrument = settings.get("instrument") or {}
    return str(instrument.get("kind", "")), str(instrument.get("serial") or settings.get("station", ""))
