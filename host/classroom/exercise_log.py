"""What the log of an exercise says to those who lead its runs."""

from collections.abc import Callable

from host.classroom.exercise import ExerciseState, state_of
from host.classroom.planted_box import PlantedBox
from host.procedures.logged import events_of
from host.procedures.run_kind import RunKind
from host.store import Store


def exercise_in(store: Store, number: int) -> ExerciseState | None:
    """State of an exercise; None where there is none of that number."""
    if store.runs.kind_of(number) != RunKind.EXERCISE:
        return None
    return state_of(events_of(store, number))


def planted_box_of(store: Store, exercise: int | None) -> PlantedBox | None:
    """Where the decade box stands in for the fault of an exercise; None where it does not."""
    state = None if exercise is None else exercise_in(store, exercise)
    return None if state is None else state.made.box


def plant_of_runs(store: Store, otherwise: Callable[[int], str | None]) -> Callable[[int], str | None]:
    """Fault in the sender that simulated hands fit for a run: an exercise's, else what ``otherwise`` says."""

    def plant_of(run: int) -> str | None:
        exercise = store.runs.get(run).settings.get("exercise")
        state = None if exercise is None else exercise_in(store, int(exercise))
        return otherwise(run) if state is None else state.made.plant

    return plant_of
