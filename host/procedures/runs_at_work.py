"""All open runs of the desk, led by one thread; where pages and commands start, press and look."""

import logging
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from calibration.bath.loop import LoopError
from calibration.bench_point import BenchPointError
from calibration.curves import CurveError
from calibration.resistance.ohms_check import OhmsCheckError
from host.certificates.errors import CertificateError
from host.curve_to_find import CurveChoice
from host.errors import DeskError
from host.live import Live
from host.order_book import OrderBook
from host.procedures.event import Event
from host.procedures.logged import events_of
from host.procedures.ohms import ohms_check, ohms_check_card
from host.procedures.ohms.ohms_check import OhmsCheckState
from host.procedures.ohms.ohms_check_runner import OhmsCheckRunner
from host.procedures.ohms.ohms_check_start import ohms_check_started
from host.procedures.run_kind import RunKind
from host.procedures.sender.curve_finding import CurvesFound, curves_of_run
from host.procedures.sender.measured_lines import TrialError
from host.procedures.sender.plateau_watch import BathStatus
from host.procedures.sender.result_let_out import let_out_result
from host.procedures.sender.runner import SenderCheckRunner
from host.procedures.sender.sender_check import Kind, state_of
from host.procedures.sender.sender_check_card import card_of
from host.procedures.sender.sender_check_start import SenderCheckWish, settings_of, started_event
from host.procedures.sender.sender_check_state import Phase, SenderCheckState
from host.procedures.step_card import StepCard
from host.seal.errors import SealError
from host.store import Store
from host.store.runs import RunWentOnError

_log = logging.getLogger(__name__)

Runner = SenderCheckRunner | OhmsCheckRunner
_RUNNER_OF: Mapping[str, Callable[..., Runner]] = {
    RunKind.SENDER_CHECK: SenderCheckRunner,
    RunKind.OHMS_CHECK: OhmsCheckRunner,
}

# How long the thread sleeps where nothing comes in: silent stations still need their trouble said.
_IDLE_S = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class RunView:
    """A run as a page shows it.

    Attributes
    ----------
    run : int
    station : str
    state : SenderCheckState
    card : StepCard
    simulated : bool
    bath_slope_k_per_min : float or None
        How fast the bath of an open run warms, None where it cannot be told. [K/min]
    needs_bench : bool
        Whether nobody else can use the bench meanwhile.
    """

    run: int
    station: str
    state: SenderCheckState | OhmsCheckState
    card: StepCard
    simulated: bool
    bath_slope_k_per_min: float | None = None
    needs_bench: bool = True

    @property
    def exercise(self) -> int | None:
        """Exercise that it belongs to."""
        return None if isinstance(self.state, OhmsCheckState) else self.state.started.exercise

    @property
    def is_ohms_check(self) -> bool:
        """Whether it is an ohms check by itself."""
        return isinstance(self.state, OhmsCheckState)

    @property
    def curve(self) -> tuple[str, str] | None:
        """Name and text of the curve it goes by; None where it goes by none."""
        if isinstance(self.state, OhmsCheckState):
            return None
        return self.state.started.curve, self.state.started.curve_text


class RunsAtWork:
    """Leads every open run until `stop`.

    Parameters
    ----------
    store : Store
    live : Live
    book : OrderBook
    after_work : callable
        Called after each round with the views of the open runs: where simulated hands look on.
    """

    def __init__(
        self,
        *,
        store: Store,
        live: Live,
        book: OrderBook,
        after_work: Callable[[tuple[RunView, ...]], None] = lambda views: None,
    ) -> None:
        self._store, self._live, self._book = store, live, book
        self._after_work = after_work
        self._lock = threading.RLock()
        self._runners: dict[int, Runner] = {}
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._lead, name="runs", daemon=True)
        for open_run in store.runs.open():
            if open_run.kind not in _RUNNER_OF:
                continue
            if store.runs.events(open_run.number):
                self._take_up(open_run.number, open_run.kind)
            else:  # the desk was killed before the run had a first event: it never began
                store.runs.end(open_run.number)

    def start(self) -> None:
        """Begin to lead."""
        self._thread.start()

    def stop(self) -> None:
        """Leave off; open runs go on when a desk starts again."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join()

    def start_sender_check(
        self,
        *,
        station: str,
        item: str,
        curve: str,
        set_points_c: tuple[float, ...],
        rule: str = "guarded",
        limit_k: float | None = None,
        customer: str = "",
        operator: str = "",
    ) -> int:
        """Start a sender check without the steps of setting up one by one; see `start_check`."""
        return self.start_check(
            SenderCheckWish(
                station=station,
                item=item,
                curve=curve,
                set_points_c=set_points_c,
                rule=rule,
                limit_k=limit_k,
                customer=customer,
                operator=operator,
                set_up=(),
            )
        )

    def start_check(self, wish: SenderCheckWish) -> int:
        """Start a sender check; its number.

        Raises
        ------
        DeskError
            If it cannot begin; says what to do.
        """
        with self._lock:
            self._refuse_second_run(wish.station)
            settings = settings_of(wish, store=self._store, live=self._live)
            started = started_event(settings)
            run = self._store.runs.create(
                station=wish.station, kind=RunKind.SENDER_CHECK, settings=settings.as_json()
            )
            self._store.runs.append(run, started.kind, dict(started.payload), after=0)
            self._take_up(run, RunKind.SENDER_CHECK)
            return run

    def start_ohms_check(self, station: str, *, operator: str = "") -> int:
        """Start an ohms check of a station by itself; its number.

        Raises
        ------
        DeskError
            If it cannot begin; says what to do.
        """
        with self._lock:
            self._refuse_second_run(station)
            started = ohms_check_started(station, operator, store=self._store, live=self._live)
            run = self._store.runs.create(
                station=station, kind=RunKind.OHMS_CHECK, settings=started.payload["settings"]
            )
            self._store.runs.append(run, started.kind, dict(started.payload), after=0)
            self._take_up(run, RunKind.OHMS_CHECK)
            return run

    def press(self, run: int, *, other: bool = False) -> None:
        """Take the press of a run's one button, or of the second, quiet one."""
        with self._lock:
            self._open(run).press(other=other)

    def curves_found(self, run: int) -> CurvesFound:
        """Curves ranked for a run whose readings are all there and whose curve is to be chosen.

        Raises
        ------
        DeskError
            If it is not at that point, or its readings cannot be used.
        """
        with self._lock:
            runner = self._open(run)
            state = runner.state
        if not isinstance(runner, SenderCheckRunner) or state.phase is not Phase.CHOOSING:
            raise DeskError(f"Run {run:04d} has no curve to be chosen. Look at its page.")
        try:
            return curves_of_run(state, runner.readings_of, self._store)
        except (BenchPointError, OhmsCheckError, LoopError) as error:
            raise DeskError(str(error)) from error

    def choose_curve(self, run: int, choice: CurveChoice) -> None:
        """Judge a run against a curve; a choice that comes twice, or late, changes nothing."""
        with self._lock:
            runner = self._open(run)
            if runner.state.phase is Phase.CHOOSING:
                runner.append(Event(kind=Kind.CURVE_CHOSEN, payload=choice.as_json()))
                self._work(runner)

    def stop_run(self, run: int, reason: str) -> None:
        """Stop a run for good."""
        with self._lock:
            runner = self._open(run)
            runner.stop(reason)
            self._close(runner)

    def view(self, run: int) -> RunView:
        """A run, open or over."""
        with self._lock:
            runner = self._runners.get(run)
            if runner is not None:
                return self._view_of(runner)
        events = events_of(self._store, run)
        if not events:
            raise DeskError(f"There is no run {run:04d}. Choose one from the list of runs.")
        if self._store.runs.kind_of(run) == RunKind.OHMS_CHECK:
            checked = ohms_check.state_of(events)
            return RunView(
                run=run,
                station=checked.started.station,
                state=checked,
                card=ohms_check_card.card_of(checked),
                simulated=bool(checked.started.decade_box.get("simulated")),
            )
        state = state_of(events)
        return RunView(
            run=run,
            station=state.started.station,
            state=state,
            card=card_of(state, BathStatus()),
            simulated=bool(state.started.probe.get("simulated")),
        )

    def student_card(self, run: int) -> StepCard:
        """Step card of a run, open or over, as a student may read it."""
        with self._lock:
            runner = self._runners.get(run)
            if runner is not None:
                return runner.student_card()
        return self.view(run).card

    def views(self) -> tuple[RunView, ...]:
        """Every open run."""
        with self._lock:
            return tuple(self._view_of(runner) for runner in self._runners.values())

    def open_run_of(self, station: str) -> int | None:
        """Run that the bench of a station is at; one that waits for its curve needs no bench."""
        with self._lock:
            return next(
                (
                    number
                    for number, runner in self._runners.items()
                    if runner.station == station and runner.needs_bench
                ),
                None,
            )

    def _lead(self) -> None:
        cursor = 0
        while not self._stopping.is_set():
            with self._lock:
                runners = list(self._runners.values())
                for runner in runners:
                    self._work(runner)
                views = tuple(self._view_of(runner) for runner in runners)
            self._after_work(views)
            cursor = self._live.wait(cursor, _IDLE_S)

    def _work(self, runner: Runner) -> None:
        try:
            runner.work()
            if isinstance(runner, SenderCheckRunner) and runner.state.phase is Phase.JUDGING:
                self._issue_unless_held_up(runner)
        except RunWentOnError:  # its log is what counts: lead it from there
            self._take_up(runner.run, self._store.runs.get(runner.run).kind)
            return
        except (BenchPointError, OhmsCheckError, TrialError, LoopError, CurveError, DeskError) as error:
            runner.stop(str(error))
        except Exception:  # noqa: BLE001  one run's fault must not take the others with it
            _log.exception(
                "run %04d: a fault of the program; the run is stopped. Start the check again.", runner.run
            )
            runner.stop("A fault of the program, written to the log. Start the check again.")
        if runner.state.is_over:
            self._close(runner)

    def _issue_unless_held_up(self, runner: SenderCheckRunner) -> None:
        """A text that cannot be printed, or a missing key or shop name, costs no reading: the run waits."""
        if runner.held_up_by:
            return
        try:
            runner.append(let_out_result(self._store, runner))
        except (CertificateError, SealError) as error:
            _log.warning("run %04d: its certificate cannot be let out: %s", runner.run, error)
            runner.held_up_by = str(error)

    def _close(self, runner: Runner) -> None:
        self._store.runs.end(runner.run)
        self._runners.pop(runner.run, None)

    def _take_up(self, run: int, kind: str) -> None:
        make = _RUNNER_OF[kind]
        self._runners[run] = make(run, store=self._store, live=self._live, book=self._book)

    def _open(self, run: int) -> Runner:
        runner = self._runners.get(run)
        if runner is None:
            raise DeskError(f"Run {run:04d} is over. Start a new one from the station's page.")
        return runner

    def _view_of(self, runner: Runner) -> RunView:
        latest = self._live.latest(runner.station)
        return RunView(
            run=runner.run,
            station=runner.station,
            state=runner.state,
            card=runner.card(),
            simulated=latest is not None and latest.simulated,
            bath_slope_k_per_min=runner.bath_slope_k_per_min(),
            needs_bench=runner.needs_bench,
        )

    def _refuse_second_run(self, station: str) -> None:
        busy = self.open_run_of(station)
        if busy is not None:
            raise DeskError(f"{station} is busy with run {busy:04d}. Finish or stop that one first.")


def wait_until_over(runs: RunsAtWork, run: int, *, timeout_s: float, poll_s: float = 0.02) -> RunView:
    """Wait for a run to end; for commands that lead a run from start to paper.

    Raises
    ------
    DeskError
        If it does not end in time.
    """
    end_s = time.monotonic() + timeout_s
    while time.monotonic() < end_s:
        view = runs.view(run)
        if view.state.is_over:
            return view
        time.sleep(poll_s)
    raise DeskError(f"Run {run:04d} did not end within {timeout_s:g} s: {view.card.instruction}")
