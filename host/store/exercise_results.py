"""Results of runs with a planted fault: no certificate, no draft, no number."""

import time
from collections.abc import Callable

from sqlalchemy import select

from host.store import schema
from host.store.drafts import DraftFiles
from host.store.engine import Database


class ExerciseResults:
    """Results, one a run."""

    def __init__(self, database: Database, now: Callable[[], float] = time.time) -> None:
        self._database = database
        self._now = now

    def keep(self, run: int, files: DraftFiles) -> None:
        """Keep the result of a run."""
        with self._database.writing() as connection:
            connection.execute(
                schema.exercise_results.insert().values(
                    run=run,
                    verdict=files.verdict,
                    canonical_json=files.canonical_json,
                    chart_svg=files.chart_svg,
                    kept_utc_s=self._now(),
                )
            )

    def of_run(self, run: int) -> DraftFiles | None:
        """Result of a run; None where it came to none."""
        table = schema.exercise_results
        with self._database.reading() as connection:
            row = connection.execute(select(table).where(table.c.run == run)).one_or_none()
        if row is None:
            return None
        return DraftFiles(
            verdict=row.verdict,
            canonical_json=bytes(row.canonical_json),
            chart_svg=bytes(row.chart_svg),
        )
