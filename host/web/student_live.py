"""The live stream of a student's exercise: what a bench says, from the student's own view of it."""

from collections.abc import Iterator
from typing import Any

from flask import render_template

from calibration.contract.readings import ReadingPack
from calibration.curves import ReferenceCurve
from host.classroom.student_view import StudentBench
from host.station_thermometers import StationThermometers
from host.web.desk_behind import DeskBehind
from host.web.live_stream import EVENT_EVERY_S, ChartFeed, paced
from host.web.live_values import LiveValues, live_values_of
from host.web.scale import Scale
from host.web.station_now import card_mark, chart_point
from host.web.student_desk import StudentDesk, as_pack


def student_values(
    bench: StudentBench | None, thermometers: StationThermometers | None, curve: ReferenceCurve
) -> LiveValues | None:
    """Values of the newest reading, as the student sees them; None where there is none."""
    if bench is None or bench.reading is None or thermometers is None:
        return None
    return live_values_of(as_pack(bench.reading), thermometers=thermometers, curve=curve)


def student_events(
    desk: DeskBehind,
    student: StudentDesk,
    number: int,
    *,
    scale: Scale,
    last_id: str,
    thermometers: StationThermometers,
) -> Iterator[str]:
    """Events of the bench of a student's run: values and strip, points of the chart, the mark of the card."""
    bench = student.bench(number)
    station = "" if bench is None else bench.station
    curve = student.curve(number)

    def points_of(packs: list[ReadingPack]) -> list[list[float | None]]:
        seen_as = student.seen_as(number)
        if seen_as is None:
            return []
        return [chart_point(as_pack(seen_as(pack)), thermometers, curve) for pack in packs]

    chart = ChartFeed(desk, station, points_of, last_id=last_id)

    def event() -> tuple[dict[str, Any], int] | None:
        now, run = student.bench(number), student.run(number)
        if now is None or run is None:
            return None
        values = student_values(now, thermometers, curve)
        data = chart.fresh() | {
            "live": render_template("_student_live.html", bench=now, values=values, scale=scale),
            "run": run.number,
            "card": None if run.card is None else card_mark(run.card),
        }
        return data, chart.cursor

    return paced(desk, event, every_s=EVENT_EVERY_S)
