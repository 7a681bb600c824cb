"""The main job on a simulated bench: two senders, from the bath to their certificates.

The scenario is of our own invention; neither the shop nor the vehicles exist.
"""

import contextlib
import functools
import json
import subprocess
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

from host.broker import EmbeddedBroker
from host.certificates.canonical import certificate_from_canonical
from host.certificates.printed import printed_points
from host.data_folder import DataFolder
from host.desk import Desk
from host.errors import DeskError
from host.local_time import local_day
from host.people.account import roles_text
from host.people.deed import Deed
from host.people.role import STAFF, Role
from host.point_data import point_data
from host.procedures.authorisation import authorise
from host.procedures.runs_at_work import RunView, wait_until_over
from host.procedures.sender.loop_card import LOOP_STEPS
from host.procedures.sender.sender_check_settings import Course
from host.procedures.sender.sender_check_start import SenderCheckWish
from host.procedures.sender.sender_check_state import Phase, SenderCheckState
from host.rig_process import SERVING_SPEED, RigProcess, rig_command
from host.simulated_bench import SIMULATED_CURVE
from host.store.drafts import draft_name

STATION = "bench-1"
SET_POINTS_C = (30.0, 60.0, 85.0)

SHOP = {
    "shop_name": "Saltmarsh Lane Motor Workshop",
    "shop_address": "4 Saltmarsh Lane, Harwen (invented for the demo)",
}
#: Who measures, and who lets out what the other measured. The pages take a visitor for the first.
MEASURES, AUTHORISES = "Orla Tench", "Bram Ostler"
PEOPLE = {MEASURES: STAFF, AUTHORISES: frozenset({Role.AUTHORISER})}
PLACE = "the bench in the shop"


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoItem:
    """A sender that somebody brought in, all of it invented; ``received_before`` in days."""

    item: str
    customer: str
    contact: str
    received_before: int


_ITEMS = (
    DemoItem(
        item="Coolant sender A-117, from the blue estate",
        customer="Hesper Lowe",
        contact="2 Ferry Stairs, Harwen",
        received_before=1,
    ),
    DemoItem(
        item="Coolant sender B-204, from the grey van",
        customer="Reedmace Deliveries",
        contact="Unit 3, Old Ropewalk, Harwen",
        received_before=0,
    ),
)

# The folder is fresh, so the second check is run 2.
_PLANTED_RUN = 2

_RIG_STARTS_WITHIN_S = 30.0
_RUN_ENDS_WITHIN_S = 300.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoCheck:
    """One check of the demo, as its JSON has it."""

    item: str
    verdict: str | None
    certificate: Path | None
    reason: str | None
    points: tuple[Mapping[str, Any], ...]

    def as_json(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "item": self.item,
            "verdict": self.verdict,
            "certificate": None if self.certificate is None else str(self.certificate),
            "reason": self.reason,
            "points": list(self.points),
        }


def check_plant(plant: str) -> None:
    """Ask the rig's own program whether a fault can be planted; the desk knows none of them.

    Raises
    ------
    DeskError
        If it cannot be, in the rig's words.
    """
    asked = subprocess.run([rig_command(), "plants", plant], capture_output=True, text=True)
    if asked.returncode != 0:
        raise DeskError(asked.stderr.strip().removeprefix("ohmbath-rig: "))


def fresh_folder(data: Path | None) -> DataFolder:
    """Data folder of a demo: the one asked for, or a new one under demo-data.

    Raises
    ------
    DeskError
        If the folder already holds something.
    """
    if data is None:
        stem = Path("demo-data") / time.strftime("%Y-%m-%d-%H%M%S")
        number = 1
        data = stem
        while data.exists():
            number += 1
            data = stem.with_name(f"{stem.name}-{number}")
    elif data.exists() and (not data.is_dir() or any(data.iterdir())):
        raise DeskError(f"{data} is not empty, and the demo takes a fresh folder: name another with --data.")
    return DataFolder(data)


class Demo:
    """A broker, a desk and a rig around one fresh folder.

    Parameters
    ----------
    folder : DataFolder
    seed : int
        Of the simulated world.
    plant : str or None
        Fault in the second sender, in the rig's own words. It is handed to the simulated hands alone.
    say : callable
        Gets words for the person in front.
    course : Course
        How the bath is taken through the set points.
    """

    def __init__(
        self,
        folder: DataFolder,
        *,
        seed: int,
        plant: str | None,
        say: Callable[[str], None],
        course: Course = Course.PLATEAUS,
    ) -> None:
        self.folder = folder
        self._course = course
        self._say = say
        self._plant = plant
        self._broker = EmbeddedBroker(folder=folder.broker, say=say)
        self._broker.start()
        self.desk = Desk(
            folder.lock(),
            broker_host="127.0.0.1",
            broker_port=self._broker.port,
            with_hands=True,
            plant_of=self._plant_of,
        )
        self.desk.store.settings.change(SHOP)
        for name, roles in PEOPLE.items():
            self.desk.store.people.add(name, roles)
        self.desk.store.stations.add(STATION)
        self.desk.live.add_station(STATION)
        self.rig = RigProcess(folder.path / "rig", station=STATION, port=self._broker.port, seed=seed)

    def start(self) -> None:
        """Start desk and rig; returns once readings come in and the register is filled.

        Raises
        ------
        DeskError
            If the rig does not come up.
        """
        self.desk.start()
        self.rig.start("max")
        self._wait_for(lambda: self.desk.live.latest(STATION) is not None)
        for name in ("probe.toml", "decade_box.toml"):
            self.desk.store.register.add_text((self.rig.folder / "papers" / name).read_text("utf-8"))

    def run_both(self, follow: Callable[[str, Callable[[], RunView]], None]) -> tuple[DemoCheck, ...]:
        """Run the two checks one after the other, and let each out as another person than who measured.

        Parameters
        ----------
        follow : callable
            Called with (item, view) to show progress until the run is over.
        """
        checks = []
        for brought in _ITEMS:
            run = self._start_check(brought)
            follow(brought.item, functools.partial(self.desk.runs.view, run))
            view = wait_until_over(self.desk.runs, run, timeout_s=_RUN_ENDS_WITHIN_S)
            if view.state.draft is not None:
                self._authorise(view.state.draft)
            checks.append(check_of(self.desk, brought.item, run, view.state))
        return tuple(checks)

    def slow_down(self) -> None:
        """Start the rig again at a speed for watching."""
        self.rig.stop()
        self.rig.start(f"{SERVING_SPEED:g}")

    def stop(self) -> None:
        """Stop everything; the folder stays."""
        self.rig.stop()
        self.desk.stop()
        self._broker.stop()

    def _authorise(self, draft: int) -> None:
        store = self.desk.store
        number = authorise(store, draft, by=AUTHORISES)
        store.audit.add(
            Deed.CERTIFICATE_AUTHORISED,
            person=AUTHORISES,
            role=roles_text(PEOPLE[AUTHORISES]),
            subject=f"{draft_name(draft)}: certificate {number}",
        )

    def _start_check(self, brought: DemoItem) -> int:
        store = self.desk.store
        today = local_day(store.now(), store.settings.read().zone)
        wish = SenderCheckWish(
            station=STATION,
            item=brought.item,
            curve=SIMULATED_CURVE,
            set_points_c=SET_POINTS_C,
            customer=brought.customer,
            customer_contact=brought.contact,
            place=PLACE,
            received=(today - timedelta(days=brought.received_before)).isoformat(),
            operator=MEASURES,
            move_connector=True,
            course=self._course,
        )
        return self.desk.runs.start_check(wish)

    def _plant_of(self, run: int) -> str | None:
        return self._plant if run == _PLANTED_RUN else None

    def _wait_for(self, condition: Callable[[], bool]) -> None:
        end_s = time.monotonic() + _RIG_STARTS_WITHIN_S
        while not condition():
            if self.rig.has_died() or time.monotonic() > end_s:
                raise DeskError(f"The simulated rig did not come up: see {self.rig.folder / 'rig.log'}.")
            time.sleep(0.02)


def check_of(desk: Desk, item: str, run: int, state: SenderCheckState) -> DemoCheck:
    """What came of a run of the demo."""
    papers = desk.store.certificates.of_run(run)
    if not papers:
        return DemoCheck(item=item, verdict=None, certificate=None, reason=state.reason, points=())
    issued = papers[-1]
    return DemoCheck(
        item=item,
        verdict=issued.files.verdict,
        certificate=desk.store.certificates.path(issued.number),
        reason=None,
        points=points_json(issued.files.canonical_json),
    )


def points_json(canonical: bytes) -> tuple[Mapping[str, Any], ...]:
    """Points of a certificate as ``ohmbath check --json`` has them, and the resistance as printed."""
    certificate = certificate_from_canonical(canonical)
    return tuple(
        {
            **point_data(point),
            "resistance_ohm_printed": printed.resistance_ohm,
        }
        for point, printed in zip(certificate.points, printed_points(certificate), strict=True)
    )


@contextlib.contextmanager
def running_demo(
    folder: DataFolder,
    *,
    seed: int,
    plant: str | None,
    say: Callable[[str], None],
    course: Course = Course.PLATEAUS,
) -> Iterator[Demo]:
    """A demo that is stopped however its block ends."""
    demo = Demo(folder, seed=seed, plant=plant, say=say, course=course)
    try:
        demo.start()
        yield demo
    finally:
        demo.stop()


def share_done(state: SenderCheckState) -> float:
    """Share of a run that is behind it, 0 to 1, for a progress bar."""
    if state.phase in (Phase.DONE, Phase.STOPPED):
        return 1.0
    of_box = len(state.box_read) / max(len(state.plan), 1)
    return 0.25 * of_box + 0.72 * _share_heated(state)


def _share_heated(state: SenderCheckState) -> float:
    if state.started.course is Course.LOOP:
        return 0.0 if state.loop is None else (1 + len(state.loop.rests)) / LOOP_STEPS * 2.0
    plateaus = len(state.started.set_points_c)
    return (len(state.windows) + (0.5 if state.opened_at else 0.0)) / plateaus


def checks_json(checks: tuple[DemoCheck, ...]) -> str:
    """JSON of both checks."""
    return json.dumps({"checks": [check.as_json() for check in checks]}, ensure_ascii=False, indent=2)
