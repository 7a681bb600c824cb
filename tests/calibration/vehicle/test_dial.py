"""The dial table against printed rows, Ohm's law and its own way back."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.curves import curve_names, load_curve
from calibration.errors import CurveRangeError
from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.temperature_scale import celsius_from_fahrenheit
from calibration.vehicle.dial import dial_row
from calibration.vehicle.dialled_box import CertifiedBox, DialError, DialledBox

CURVE = load_curve("ntc-2k5-20c")
BOX = DialledBox()


@pytest.mark.parametrize(
    ("name", "show_c", "printed_ohm"),
    [
        # 2.5 kΩ part: as printed in the maker's data sheet table.
        ("ntc-2k5-20c", 20.0, 2500.0),
        ("ntc-2k5-20c", 90.0, 243.0),
        ("ntc-2k5-20c", 130.0, 89.0),
        # Middle of 298 and 322 Ω: Hyundai Accent 2004, ECTS.
        ("ntc-310-80c", 80.0, 310.0),
        # Middle of 310 and 326 Ω: Lexus RX 350 2007; a curve of two rows.
        ("ntc-318-80c", 80.0, 318.0),
        # Generator controller handbook.
        ("ntc-290-110c", 110.0, 290.0),
    ],
)
def test_a_printed_temperature_is_dialled_as_printed(name: str, show_c: float, printed_ohm: float) -> None:
    row = dial_row(load_curve(name), show_c, BOX)
    assert row.setting_ohm == printed_ohm
    assert row.shows_c == pytest.approx(show_c, abs=1e-9)


def test_one_step_by_hand() -> None:
    """At 90 °C, 243 Ω: dT/dR = T²/(beta R), beta from the rows beside it, 80 °C 323 Ω and 100 °C 187 Ω."""
    row = dial_row(CURVE, 90.0, BOX)
    beta_k = math.log(323 / 187) / (1 / 353.15 - 1 / 373.15)
    assert row.step_k == pytest.approx(363.15**2 / (beta_k * 243.0), rel=0.03)
    assert row.step_down_k > 0.0 > row.step_up_k
    assert row.step_f == pytest.approx(1.8 * row.step_k)


def test_the_uncertainty_is_that_of_the_box_by_hand() -> None:
    """1 % of 243 Ω and 0.1 Ω, both even within their limits (JCGM 100, 4.3.7)."""
    row = dial_row(CURVE, 90.0, BOX)
    slope = abs(CURVE.sensitivity_k_per_ohm(243.0))
    standard_u_k = slope * math.hypot(2.43, 0.1) / math.sqrt(3.0)
    assert row.expanded_u_k == pytest.approx(row.k * standard_u_k, rel=1e-6)
    assert dial_row(CURVE, 85.0, BOX).expanded_u_k > 0.0


@given(
    show_c=st.floats(-35.0, 129.0), step_ohm=st.sampled_from([0.1, 1.0, 10.0]), residual=st.floats(0.0, 3.0)
)
def test_what_is_shown_lies_within_half_a_step_of_what_was_asked_for(
    show_c: float, step_ohm: float, residual: float
) -> None:
    row = dial_row(CURVE, show_c, DialledBox(step_ohm=step_ohm, residual_ohm=residual))
    half_up = 0.5 * max(row.step_down_k, -row.step_up_k)
    assert abs(row.reach_k) <= half_up * 1.05 + 1e-6
    # And back: a computer that shows this holds the resistance that was dialled.
    again = dial_row(CURVE, row.shows_c, DialledBox(step_ohm=step_ohm, residual_ohm=residual))
    assert again.setting_ohm == pytest.approx(row.setting_ohm)
    assert again.shows_c == pytest.approx(row.shows_c, abs=1e-6)


@given(cold_c=st.floats(-40.0, 129.0), warmer_k=st.floats(0.0, 100.0))
def test_a_hotter_temperature_never_needs_more_ohms(cold_c: float, warmer_k: float) -> None:
    hot_c = min(cold_c + warmer_k, 130.0)
    cold, hot = (dial_row(CURVE, t, BOX) for t in (cold_c, hot_c))
    assert hot.setting_ohm <= cold.setting_ohm
    assert hot.shows_c >= cold.shows_c


@given(show_f=st.floats(-35.0, 260.0))
def test_fahrenheit_and_celsius_ask_for_the_same_dial(show_f: float) -> None:
    by_f = dial_row(CURVE, celsius_from_fahrenheit(show_f), BOX)
    by_c = dial_row(CURVE, (show_f - 32.0) / 1.8, BOX)
    assert by_f.curve_ohm == pytest.approx(by_c.curve_ohm, rel=1e-9)
    assert abs(by_f.setting_ohm - by_c.setting_ohm) <= 1.0  # the two spellings may straddle half a step
    assert by_f.step_f == pytest.approx(1.8 * by_f.step_k)


@pytest.mark.parametrize("name", curve_names())
def test_every_curve_dials_at_each_of_its_rows(name: str) -> None:
    curve = load_curve(name)
    for temperature_c in curve.printed_temperatures_c or (25.0,):
        row = dial_row(curve, temperature_c, DialledBox(step_ohm=0.1))
        assert abs(row.shows_c - temperature_c) <= 0.51 * row.step_k


def test_a_curve_of_two_rows_dials_only_at_them() -> None:
    with pytest.raises(CurveRangeError, match="20, 80 °C"):
        dial_row(load_curve("ntc-318-80c"), 60.0, BOX)


def test_a_temperature_beyond_the_curve_is_refused() -> None:
    with pytest.raises(CurveRangeError, match="-40 to 130"):
        dial_row(CURVE, 140.0, BOX)


def test_a_box_too_coarse_for_the_hot_end_is_refused() -> None:
    with pytest.raises(DialError, match="smaller steps"):
        dial_row(CURVE, 110.0, DialledBox(step_ohm=200.0))


@pytest.mark.parametrize("wrong", [{"step_ohm": 0.0}, {"residual_ohm": -1.0}, {"step_ohm": math.nan}])
def test_what_is_no_box_is_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(DialError):
        DialledBox(**wrong)


# Steps off by up to a part in a thousand, 0.7 Ω with every step out.
CERTIFICATE = DecadeBoxCertificate(
    residual_ohm=0.7,
    step_ohm={w * d: w * d * (1.0 + 1e-3 * (-1) ** w) for d in (1, 10, 100, 1000) for w in (1, 2, 4, 8)},
    expanded_u_relative=1e-4,
    expanded_u_ohm=0.03,
    k=2.0,
)


@pytest.mark.slow
@given(show_c=st.floats(10.0, 129.0))
def test_a_certified_box_comes_nearest_by_its_certificate_and_not_by_its_marks(show_c: float) -> None:
    box = CertifiedBox(certificate=CERTIFICATE, leads_ohm=0.3)
    row = dial_row(CURVE, show_c, box)
    settings = range(1, CERTIFICATE.highest_ohm)
    best = min(settings, key=lambda setting: abs(CERTIFICATE.true_ohm(setting) + 0.3 - row.curve_ohm))
    assert abs(box.true_ohm(row.setting_ohm) - row.curve_ohm) == pytest.approx(
        abs(CERTIFICATE.true_ohm(best) + 0.3 - row.curve_ohm)
    )


def test_a_certificate_and_short_leads_leave_far_less_open_than_a_tolerance() -> None:
    """u by hand: 0.005 % of 243 Ω, 0.015 Ω and 0.05 Ω of leads, all normal."""
    row = dial_row(CURVE, 90.0, CertifiedBox(certificate=CERTIFICATE))
    slope = abs(CURVE.sensitivity_k_per_ohm(243.0))
    standard_u_k = slope * math.sqrt((5e-5 * 243.0) ** 2 + 0.015**2 + 0.05**2)
    # The box cannot make 243 Ω to the ohm, so that the curve between its rows adds a little.
    assert row.expanded_u_k == pytest.approx(2.0 * standard_u_k, rel=0.1)
    assert row.expanded_u_k < 0.1 * dial_row(CURVE, 90.0, BOX).expanded_u_k


def test_a_certified_box_that_does_not_reach_says_so() -> None:
    with pytest.raises(DialError, match="larger box"):
        dial_row(CURVE, -30.0, CertifiedBox(certificate=CERTIFICATE))
