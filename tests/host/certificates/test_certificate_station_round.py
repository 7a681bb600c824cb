"""What a certificate of a round says, on paper and in its pictures."""

import re

import pytest

from calibration.station_round import StatedValue
from host.certificates.bodies.station_round import RoundComparison, StationRoundBody
from host.certificates.kind import Kind
from host.certificates.paper_lines import coverage_line, rounding_line
from host.certificates.pdf import render_pdf
from host.certificates.results.of_station_round import MOST_ON_A_STRIP, station_round_results
from host.pictures.agreement_strip import strip_svg

REFERENCE = StatedValue(value=60.0, expanded_u=0.08)


def body_of(results, *, unit="°C", reference=REFERENCE, at="60 °C"):
    comparison = RoundComparison.of(
        results,
        at=at,
        quantity={"°C": "indicated temperature", "K": "error", "Ω": "resistance"}[unit],
        unit=unit,
        reference=reference,
        reference_words="" if reference is None else "from the certificate of the artefact",
    )
    return StationRoundBody(artefact="an artefact of this test", points=(comparison,))


def stations(count, *, value=60.0, step=0.01, expanded_u=0.12):
    return {
        f"station-{number}": StatedValue(value=value + step * number, expanded_u=expanded_u)
        for number in range(1, count + 1)
    }


def test_a_bar_is_as_long_as_the_uncertainty_of_the_difference():
    # 0.13 and 0.08 K together are 0.153 K, and the station alone would be 0.13 K
    results = station_round_results(body_of({"station-4": StatedValue(value=60.44, expanded_u=0.13)}))
    (bar,) = results.bars.bars
    assert bar.expanded_u == pytest.approx((0.13**2 + 0.08**2) ** 0.5)
    assert "+0.44 K from the reference, ± 0.15 K, En +2.88: does not agree." in bar.said


def test_the_table_has_value_difference_en_and_whether_it_agrees():
    station_4 = StatedValue(value=60.44, expanded_u=0.13)
    body = body_of({"A": StatedValue(value=60.03, expanded_u=0.11), "B": station_4})
    (table,) = station_round_results(body).tables
    columns = {column.key: column.texts for column in table.columns}
    assert columns["value"] == ("60.03", "60.44")
    assert columns["difference"] == ("+0.03", "+0.44")
    assert columns["en"] == ("+0.22", "+2.88")
    assert [one.words for one in table.verdicts] == ["agrees", "does not agree"]


def test_resistances_and_differences_stand_under_each_other_as_temperatures_do():
    for unit, value in (("Ω", 1000.0), ("K", 0.02), ("°C", 60.0)):
        reference = StatedValue(value=value, expanded_u=0.08)
        (strip,) = station_round_results(
            body_of(stations(3, value=value), unit=unit, reference=reference)
        ).strips
        assert [bar.name for bar in strip.bars] == ["reference", "station-1", "station-2", "station-3"]
        assert f">{unit}</text>" in strip_svg(strip.bars, unit=strip.unit)


def test_kelvin_become_degrees_fahrenheit_and_ohms_stay_ohms():
    bar = station_round_results(body_of(stations(1, value=0.0), unit="K")).strips[0].bars[1:]
    drawn = strip_svg(bar, unit="K", fahrenheit=True)
    assert "0.02 ±0.22" in drawn and ">°F</text>" in drawn  # 0.01 K is 0.018 °F, not 32.018
    assert "0.01 ±0.12" in strip_svg(bar, unit="Ω", fahrenheit=True)


def test_a_station_that_overlaps_the_reference_and_does_not_agree_is_marked_so():
    # bars of 0.10 and 0.10 K touch up to 0.20 K apart, and En is over 1 from 0.14 K on
    body = body_of(
        {"A": StatedValue(value=60.17, expanded_u=0.1)}, reference=StatedValue(value=60.0, expanded_u=0.1)
    )
    (strip,) = station_round_results(body).strips
    drawn = strip_svg(strip.bars)
    assert "0.17 K above reference" in drawn and ">0.17 K</text>" in drawn


def test_a_gap_without_a_reference_is_the_one_from_the_others():
    values = (1000.1, 999.5, 1000.9, 1006.4, 1000.0, 1000.6)
    results = {f"S{n}": StatedValue(value=value, expanded_u=0.9) for n, value in enumerate(values)}
    body = body_of(results, unit="Ω", reference=None)
    (strip,) = station_round_results(body).strips
    off = body.points[0].stations[3]
    assert f">{off.difference:.1f} Ω</text>" in strip_svg(strip.bars, unit="Ω")
    assert off.difference > off.value - body.points[0].robust_mean


def test_the_paper_says_which_k_stands_behind_u():
    stated = station_round_results(body_of({"A": StatedValue(value=60.0, expanded_u=0.1, k=2.2)}))
    assert "the k that stands beside it" in coverage_line(stated)
    assert "with k = 2;" in coverage_line(station_round_results(body_of(stations(2))))


def test_a_round_in_ohms_says_nothing_of_kelvin(of_kind):
    body = body_of(stations(2, value=1000.0), unit="Ω", at="1000 Ω")
    assert "1.8 °F" not in rounding_line(of_kind(Kind.STATION_ROUND, body=body))
    assert "1.8 °F" in rounding_line(of_kind(Kind.STATION_ROUND))


def test_many_stations_go_on_to_the_next_strip_and_none_is_left_out():
    count = 2 * MOST_ON_A_STRIP + 3
    strips = station_round_results(body_of(stations(count))).strips
    assert len(strips) == 3
    assert sum(len(strip.bars) - 1 for strip in strips) == count
    assert {strip.bars[0].name for strip in strips} == {"reference"}


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ((60.0, 60.01), "All 2 stations agree with the reference"),
        ((60.0, 60.9), "1 of 2 stations does not agree with the reference"),
        ((60.9, 60.8), "2 of 2 stations do not agree with the reference"),
        ((60.0,), "The station agrees with the reference"),
    ],
)
def test_the_paper_begins_with_how_many_agree(values, words):
    results = {f"S{n}": StatedValue(value=value, expanded_u=0.1) for n, value in enumerate(values)}
    assert station_round_results(body_of(results)).headline == words


def test_without_a_reference_the_paper_says_what_the_stations_are_held_against():
    results = station_round_results(body_of(stations(5), reference=None))
    said = " ".join(line for section in results.sections for line in section.lines)
    assert "robust mean of the other stations, in which its own value has no part" in said
    assert results.strips[0].bars[0].name == "robust mean"


def test_the_robust_mean_stands_with_its_own_standard_uncertainty():
    body = body_of(stations(5))
    comparison = body.points[0]
    assert comparison.robust_mean == pytest.approx(60.03)
    assert comparison.robust_standard_u == pytest.approx(1.25 * comparison.robust_spread / 5**0.5)
    (section,) = [one for one in station_round_results(body).sections if one.title == "Robust mean"]
    assert re.search(r"60\.030 °C, standard uncertainty 0\.01\d K; .*of 5 stations", section.lines[0])


@pytest.mark.slow
@pytest.mark.parametrize(
    ("count", "unit", "reference"),
    [
        (1, "K", REFERENCE),
        (3, "Ω", None),
        (40, "Ω", REFERENCE),
    ],
)
def test_every_shape_of_a_round_can_be_set_on_paper(of_kind, count, unit, reference):
    body = body_of(stations(count), unit=unit, reference=reference)
    assert render_pdf(of_kind(Kind.STATION_ROUND, body=body, verdict=None)).startswith(b"%PDF")
