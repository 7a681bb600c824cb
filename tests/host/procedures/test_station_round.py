"""A round of procedure: results that come, come late, come again, and what they are compared to."""

import csv
import io
import itertools
import re
import tomllib
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date
from pathlib import Path

import pytest
from click.testing import CliRunner

from calibration.station_round import StatedValue
from host.certificates.canonical import canonical_json, certificate_from_canonical
from host.certificates.results.of_station_round import station_round_results
from host.cli import main
from host.data_folder import DataFolder
from host.errors import DeskError
from host.pictures.agreement_strip import strip_svg
from host.procedures.event import Event
from host.procedures.record.issued_record import record_in_store
from host.procedures.record.recompute import recompute
from host.procedures.record.record_folder import read_record, write_record
from host.procedures.rounds.station_round import (
    MOST_STATIONS,
    Kind,
    Source,
    StationRoundState,
    advance,
    state_of,
)
from host.procedures.rounds.station_round_result import certificate_of, comparison_of, sentence_of
from host.procedures.rounds.station_round_runs import NewResult, StationRounds
from host.procedures.rounds.station_round_settings import Quantity, StationRoundSettings
from host.shop import Shop
from host.store import open_store
from host.tables.rounds import round_table
from host.tables.table import Form, written

PUBLISHED = tomllib.loads(
    (Path(__file__).parents[2] / "calibration" / "published" / "comparison.toml").read_text("utf-8")
)
REFERENCE = StatedValue(value=0.10, expanded_u=0.08)


def settings(**changed):
    given = {
        "artefact": "Sender PT-300",
        "quantity": Quantity.ERROR,
        "at": 60.0,
        "curve": "ntc-310-80c",
        "reference": REFERENCE,
        "reference_words": "certificate PT-300/7",
        "stations": ("bench-1", "bench-2", "bench-3", "bench-4"),
    }
    return StationRoundSettings(**(given | changed))


def begun(**changed):
    return Event(kind=Kind.STARTED, payload={"settings": settings(**changed).as_json()})


def taken(station, value, expanded_u=0.12, **changed):
    return Event(
        kind=Kind.TAKEN,
        payload={
            "station": station, "value": value, "expanded_u": expanded_u, "k": 2.0,
            "source": Source.TYPED.value, "words": "typed by hand", "run": None, "late": False,
        } | changed,
    )  # fmt: skip


def answered(entry, counts, reason="asked at the station"):
    return Event(kind=Kind.ANSWERED, payload={"entry": entry, "counts": counts, "reason": reason})


def left_out(station, reason="its stirrer is broken"):
    return Event(kind=Kind.LEFT_OUT, payload={"station": station, "reason": reason})


FOUR = (taken("bench-1", 0.12), taken("bench-2", 0.05), taken("bench-3", 0.09), taken("bench-4", 0.41))


def paper_of(state):
    return certificate_of(
        state, run=7, number="000007", shop=Shop(), issued=date(2031, 5, 17), measured="2031-05-17"
    )


def test_the_sentence_says_which_station_is_off_and_by_how_much():
    paper = paper_of(state_of([begun(), *FOUR]))
    assert paper.sentence == (
        "bench-4 reads 0.31 K (0.56 °F) higher than the reference; the others agree within their uncertainty."
    )
    assert "Look at bench-4 first" in paper.body.next_action
    assert paper.verdict is None and not paper.simulated


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ((0.12, 0.05), "Both stations agree with the reference within their uncertainty."),
        ((0.12, 0.05, 0.1), "All 3 stations agree with the reference within their uncertainty."),
        (
            (0.05,),
            "bench-1 agrees with the reference within the uncertainty: it reads 0.05 K (0.09 °F) lower.",
        ),
        (
            (0.60,),
            "bench-1 reads 0.50 K (0.90 °F) higher than the reference, more than the uncertainties explain.",
        ),
        (
            (0.1, -0.3, 0.6),
            "bench-3 reads 0.50 K (0.90 °F) higher and bench-2 reads 0.40 K (0.72 °F) lower than the "
            "reference; the other one agrees within its uncertainty.",
        ),
        (
            (0.9, 0.8, 0.7, 0.6),
            "4 of 4 stations do not agree with the reference; bench-1 is furthest off and reads 0.80 K "
            "(1.44 °F) higher.",
        ),
    ],
)
def test_each_outcome_has_its_sentence(values, sentence):
    results = [taken(f"bench-{number}", value) for number, value in enumerate(values, start=1)]
    assert sentence_of(comparison_of(state_of([begun(stations=()), *results]))) == sentence


def test_where_most_lie_on_one_side_the_reference_is_looked_at_before_the_stations():
    results = [taken(f"bench-{number}", 0.8) for number in range(1, 5)]
    paper = paper_of(state_of([begun(), *results]))
    assert "before any station is touched" in paper.body.next_action


def test_without_a_reference_the_wild_station_is_told_by_the_others():
    state = state_of([begun(reference=None), *FOUR])
    assert "bench-4 reads" in sentence_of(comparison_of(state))
    assert "than the other stations; the others agree" in sentence_of(comparison_of(state))
    assert "No reference measured the artefact." in paper_of(state).not_done


@pytest.mark.parametrize(
    ("values", "sentence", "headline"),
    [
        (
            (1.00, 1.01, 0.99, 6.00, 55.00),
            "bench-5 reads 54.00 K (97.20 °F) higher and bench-4 reads 5.00 K (9.00 °F) higher than the "
            "other stations; the others agree within their uncertainty.",
            "2 of 5 stations do not agree with the others",
        ),
        (
            (60.1, 60.1, 60.1, 60.1, 60.1, 63.0),
            "bench-6 reads 2.90 K (5.22 °F) higher than the other stations; the others agree within their "
            "uncertainty.",
            "1 of 6 stations does not agree with the others",
        ),
        (
            (60.1, 60.1, 60.1, 60.1),
            "All 4 stations agree with the other stations within their uncertainty.",
            "All 4 stations agree with the others",
        ),
        (
            (1.00, 1.01, 5.00, 5.01),
            "4 stations measured at 60 °C lie further apart than their uncertainties explain; which of them "
            "is right cannot be told without a reference.",
            "No statement on a single station",
        ),
        (
            (1.0, 2.0, 4.0, 8.0, 16.0),
            "bench-5 reads 12.2 K (22.0 °F) higher than the other stations; of the others it cannot be told, "
            "as they lie further apart than their uncertainties explain.",
            "1 of 5 stations does not agree with the others",
        ),
    ],
)
def test_without_a_reference_each_outcome_has_its_sentence(values, sentence, headline):
    results = [taken(f"bench-{number}", value, 0.1) for number, value in enumerate(values, start=1)]
    paper = paper_of(state_of([begun(reference=None, stations=()), *results]))
    assert paper.sentence == sentence
    found = station_round_results(paper.body)
    assert found.headline == headline
    said = " ".join(bar.said for bar in found.bars.bars)
    assert ("cannot be told" in said) == ("cannot be told" in sentence)
    named = replace(paper, shop="Plover & Tansy Motor Works")
    assert certificate_from_canonical(canonical_json(named)) == named


def test_the_gap_of_a_wild_station_is_drawn_from_what_it_is_held_against():
    values = (1.00, 1.01, 0.99, 55.00)
    results = [taken(f"bench-{number}", value, 0.1) for number, value in enumerate(values, start=1)]
    paper = paper_of(state_of([begun(reference=None, stations=()), *results]))
    found = station_round_results(paper.body)
    (strip,) = found.strips
    assert found.strips_words.endswith("does not agree with the other stations.")
    drawn = strip_svg(strip.bars, unit=strip.unit)
    assert "54.00 K above the others" in drawn
    assert drawn.count("agrees with the others") == 3
    dotted = re.search(r'd="M([\d.]+) ([\d.]+)H([\d.]+)"[^>]*stroke-dasharray', drawn)
    ticks = [float(x) for x in re.findall(r'cx="([\d.]+)"', drawn)]
    assert dotted is not None and ticks, drawn
    assert float(dotted[1]) == pytest.approx(ticks[0], abs=1.0), "it begins where the others lie"


def test_a_station_that_reads_the_very_value_is_said_to_read_the_same():
    paper = paper_of(state_of([begun(stations=()), taken("bench-1", 0.1)]))
    assert paper.sentence == (
        "bench-1 agrees with the reference within the uncertainty: it reads the same: the difference is "
        "0.00 K (0.00 °F)."
    )


def test_three_stations_without_a_reference_give_a_mean_and_no_culprit():
    state = state_of([begun(reference=None, stations=()), *FOUR[1:]])
    assert "cannot be told without a reference" in paper_of(state).sentence
    assert paper_of(state).body.points[0].robust_mean is not None


def test_two_stations_without_a_reference_cannot_be_closed():
    state = state_of([begun(reference=None, stations=()), *FOUR[:2]])
    assert "Without a reference 3 stations are needed" in state.why_open
    with pytest.raises(ValueError, match="Without a reference"):
        paper_of(state)


def test_one_station_against_the_reference_has_its_en_number_and_says_what_more_needs():
    paper = paper_of(state_of([begun(stations=()), FOUR[3]]))
    (comparison,) = paper.body.points
    assert comparison.stations[0].en == pytest.approx(0.31 / (0.12**2 + 0.08**2) ** 0.5)
    assert "it needs 3 stations or more" in comparison.why_no_robust


def test_a_result_that_comes_again_is_kept_and_counts_only_once_somebody_says_so():
    again = [begun(), *FOUR, taken("bench-4", 0.11)]
    state = state_of(again)
    assert state.counted["bench-4"].number == 4 and state.entries[4].flags == "again"
    said = state_of([*again, answered(5, counts=True, reason="a clip hung loose the first time")])
    assert said.counted["bench-4"].number == 5
    remarks = " ".join(paper_of(said).remarks)
    assert "Result 5 of bench-4 came again and counts: a clip hung loose the first time" in remarks
    assert "Result 4 of bench-4 (0.41 K ± 0.12 K) is kept and does not count" in remarks


def test_a_late_result_holds_its_station_open_until_somebody_answers():
    state = state_of([begun(), *FOUR[:3], taken("bench-4", 0.41, late=True)])
    assert state.missing == ("bench-4",) and state.entries[3].flags == "late"
    assert state_of([begun(), *FOUR[:3], taken("bench-4", 0.41, late=True), answered(4, True)]).why_open == ""


def test_a_station_is_left_out_with_its_reason_and_may_come_in_again():
    events = [begun(), *FOUR[:3], left_out("bench-4")]
    paper = paper_of(state_of(events))
    assert "bench-4 was left out: its stirrer is broken" in paper.remarks
    assert len(paper.body.points[0].stations) == 3
    back = state_of([*events, Event(kind=Kind.TAKEN_BACK, payload={"station": "bench-4"})])
    assert back.missing == ("bench-4",)


def test_a_reference_that_was_measured_at_one_of_the_stations_is_said_not_to_be_independent_there():
    given = {"reference_run": 9, "reference_station": "bench-2"}
    assert any("(bench-2)" in remark for remark in paper_of(state_of([begun(**given), *FOUR])).remarks)
    assert not any("independent" in remark for remark in paper_of(state_of([begun(), *FOUR])).remarks)


@pytest.mark.parametrize(
    ("event", "words"),
    [
        (answered(9, counts=True), "a result that is there"),
        (answered(1, counts=True, reason=""), "needs a reason"),
        (left_out("bench-9"), "a station that is there"),
        (Event(kind=Kind.TAKEN_BACK, payload={"station": "bench-1"}), "not left out"),
        (begun(), "cannot follow"),
        (Event(kind=Kind.RESULT), "every station"),
    ],
)
def test_what_cannot_follow_is_refused(event, words):
    state = state_of([begun(), *FOUR[:3]])
    with pytest.raises(ValueError, match=words):
        advance(state, event)


def test_nothing_follows_the_result():
    closed = state_of([begun(), *FOUR, Event(kind=Kind.RESULT)])
    assert closed.is_over
    with pytest.raises(ValueError, match="cannot follow"):
        advance(closed, FOUR[0])


def test_the_same_events_give_the_same_round_and_settings_survive_their_text():
    events = [begun(read_by="2031-05-20", kept="in a flask"), *FOUR, answered(2, counts=False)]
    assert state_of(events) == state_of(events) != StationRoundState()
    assert state_of(events).started == settings(read_by="2031-05-20", kept="in a flask")


# ---- whole rounds of published results, through the store ----------------------------------------


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    made = open_store(DataFolder(tmp_path_factory.mktemp("rounds")), now=lambda: 1_900_000_000.0)
    yield made
    made.close()


def run_of(store, given, values, expanded_u):
    rounds = StationRounds(store)
    run = rounds.start(given)
    for number, value in enumerate(values, start=1):
        stated = StatedValue(value=value, expanded_u=expanded_u)
        result = NewResult(station=f"lab {number}", stated=stated, source=Source.TYPED, words="typed by hand")
        rounds.take(run, result, zone=UTC)
    rounds.close(run, shop=Shop(name="Invented Garage"), zone=UTC)
    return run


def issued_of(store, run):
    (issued,) = store.certificates.of_run(run)
    return certificate_from_canonical(issued.files.canonical_json), issued


@pytest.fixture(scope="module")
def en_run(store):
    """The En numbers that the NIST Dataplot manual prints, as a round."""
    en = PUBLISHED["en"]
    reference = StatedValue(value=en["reference"], expanded_u=0.8 * en["denominator"])
    given = settings(
        artefact="Resistor of 1 Ω", quantity=Quantity.RESISTANCE, at=1.0, curve="", reference=reference,
        reference_words="as published", stations=(), operator="A. Fennimore",
    )  # fmt: skip
    return run_of(store, given, en["value"], 0.6 * en["denominator"])


@pytest.fixture(scope="module")
def copper_run(store):
    """The copper data (Analyst 114 (1989) 1693) as a round without a reference; each U is invented."""
    given = settings(
        artefact="Copper in flour, in place of ohms", quantity=Quantity.RESISTANCE, at=3.0, curve="",
        reference=None, reference_words="", stations=(),
    )  # fmt: skip
    return run_of(store, given, PUBLISHED["copper"]["ppm"], 0.5)


@pytest.mark.slow
def test_a_whole_round_comes_to_the_published_en_numbers(store, en_run):
    en = PUBLISHED["en"]
    certificate, issued = issued_of(store, en_run)
    found = [station.en for station in certificate.points[0].stations]
    assert found == pytest.approx(en["printed"], abs=en["tolerance"])
    assert issued.files.pdf.startswith(b"%PDF") and b"<svg" in issued.files.chart_svg


@pytest.mark.slow
def test_a_whole_round_comes_to_the_published_mean_and_spread(store, copper_run):
    expected = PUBLISHED["algorithm_a"]
    (comparison,) = issued_of(store, copper_run)[0].points
    assert comparison.robust_mean == pytest.approx(expected["mean"], abs=expected["tolerance"])
    assert comparison.robust_spread == pytest.approx(expected["spread"], abs=expected["tolerance"])
    assert comparison.robust_standard_u == pytest.approx(1.25 * expected["spread"] / 24**0.5, abs=1e-6)
    # the two that lie far above all the others
    assert [station.value for station in comparison.off][-2:] == [5.28, 28.95]


@pytest.mark.slow
def test_its_certificate_is_worked_out_again_from_store_and_folder(store, en_run, tmp_path):
    number = issued_of(store, en_run)[0].number
    record = record_in_store(store, number)
    assert recompute(record).difference is None
    write_record(store, record, tmp_path / "folder")
    assert recompute(read_record(tmp_path / "folder")).difference is None


@pytest.mark.slow
def test_its_table_has_every_result_and_the_en_numbers(store, en_run):
    state = StationRounds(store).view(en_run).state
    text = "".join(written(round_table(en_run, state), Form.CSV)).removeprefix("\ufeff")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert [float(row["value [Ω]"]) for row in rows] == PUBLISHED["en"]["value"]
    assert float(rows[0]["en"]) == pytest.approx(0.393, abs=0.001)
    assert {row["agreement"] for row in rows} == {"agrees"} and {row["counts"] for row in rows} == {"yes"}


@pytest.mark.slow
def test_a_command_writes_the_table_of_a_round_and_refuses_another_run(tmp_path):
    folder = DataFolder(tmp_path / "desk")
    with closing(open_store(folder)) as made:
        StationRounds(made).start(settings())
    written_to = str(tmp_path / "round.csv")
    run_in = ["--data", str(folder.path)]
    done = CliRunner().invoke(main, ["export", "round", written_to, "--run", "1", *run_in])
    assert done.exit_code == 0 and "0 rows of round" in done.output
    refused = CliRunner().invoke(main, ["export", "round", written_to, "--run", "9", *run_in])
    assert refused.exit_code != 0 and "is no round" in refused.output
    unnamed = CliRunner().invoke(main, ["export", "round", written_to, *run_in])
    assert unnamed.exit_code == 2 and f"There are: 1 ({settings().artefact})." in unnamed.output


def test_the_table_of_an_open_round_has_what_does_not_count():
    state = state_of([begun(), *FOUR, taken("bench-4", 0.11), left_out("bench-1")])
    rows = [dict(zip([c.name for c in round_table(3, state).columns], row, strict=True))
            for row in round_table(3, state).rows]  # fmt: skip
    assert [row["counts"] for row in rows] == [False, True, True, True, False]
    assert rows[4]["flags"] == "again" and rows[4]["en"] is None
    assert rows[0]["reason"] == "its stirrer is broken"


def test_what_comes_after_the_last_day_is_late(tmp_path):
    clock = itertools.count(1_900_000_000.0, 86_400.0)
    late = open_store(DataFolder(tmp_path), now=lambda: next(clock))
    rounds = StationRounds(late)
    run = rounds.start(settings(read_by="2030-03-17"))
    result = NewResult(station="BENCH-1", stated=REFERENCE, source=Source.TYPED, words="typed")
    rounds.take(run, result, zone=UTC)
    (entry,) = rounds.view(run).state.entries
    assert entry.is_late and not entry.counts
    assert entry.station == "bench-1"  # the spelling that is in use
    late.close()


@pytest.mark.slow
def test_a_round_that_is_closed_or_full_takes_nothing_more(store, en_run):
    rounds = StationRounds(store)
    result = NewResult(station="late one", stated=REFERENCE, source=Source.TYPED, words="typed")
    with pytest.raises(DeskError, match="is over"):
        rounds.take(en_run, result, zone=UTC)
    full = rounds.start(settings(stations=tuple(f"S{n}" for n in range(MOST_STATIONS))))
    with pytest.raises(DeskError, match="has room for"):
        rounds.take(full, result, zone=UTC)
    rounds.stop(full, "enough")
    assert rounds.view(full).state.is_stopped


def test_one_run_is_taken_once(store):
    rounds = StationRounds(store)
    run = rounds.start(settings())
    result = NewResult(station="bench-1", stated=REFERENCE, source=Source.RUN, words="run 0009", run=9)
    rounds.take(run, result, zone=UTC)
    with pytest.raises(DeskError, match="taken already"):
        rounds.take(run, result, zone=UTC)
    other = rounds.start(settings(reference_run=9))
    with pytest.raises(DeskError, match="is the reference itself"):
        rounds.take(other, result, zone=UTC)
    with pytest.raises(DeskError, match="No result counts yet of: bench-2"):
        rounds.close(run, shop=Shop(), zone=UTC)
