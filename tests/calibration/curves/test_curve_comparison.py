import pytest

from calibration.curves import CurveError, curve_from_toml, load_curve
from calibration.curves.curve_comparison import compare_curves

HEAD = (
    'title = "t"\nsource = "invented"\ntolerance = "unknown"\nwiring = "unknown"\nallowed_current_ma = 1.0\n'
)


def beta_curve(name, r25_ohm, beta_k, low_c=0.0, high_c=100.0):
    text = (
        f'{HEAD}[coefficients]\nform = "beta"\nr25_ohm = {r25_ohm}\nbeta_k = {beta_k}\n'
        f"valid_from_c = {low_c}\nvalid_to_c = {high_c}\n"
    )
    return curve_from_toml(text, name=name)


def test_two_beta_curves_differ_as_their_equation_says():
    """R doubled at one beta: 1/T' = 1/T + ln 2 / B (the beta equation, solved by hand)."""
    compared = compare_curves(beta_curve("a", 2500.0, 3500.0), beta_curve("b", 5000.0, 3500.0))
    for one in compared.differences:
        kelvin = one.temperature_c + 273.15
        expected_k = 1.0 / (1.0 / kelvin + 0.6931471805599453 / 3500.0) - kelvin
        assert one.difference_percent == pytest.approx(100.0, abs=1e-9)
        assert one.difference_k == pytest.approx(expected_k, abs=1e-9)
    assert compared.largest.temperature_c == 100.0


def test_only_the_common_range_is_compared():
    compared = compare_curves(
        beta_curve("a", 2500.0, 3500.0, 0.0, 80.0), beta_curve("b", 2500.0, 3600.0, 40.0, 120.0)
    )
    assert (compared.differences[0].temperature_c, compared.differences[-1].temperature_c) == (40.0, 80.0)


def test_a_curve_of_few_rows_is_compared_at_its_rows_alone():
    few = load_curve("ntc-2k45-20c")
    assert few.judges_only_printed_rows
    compared = compare_curves(load_curve("ntc-2k5-20c"), few)
    assert {one.temperature_c for one in compared.differences} <= {
        *few.printed_temperatures_c,
        *load_curve("ntc-2k5-20c").printed_temperatures_c,
    }
    for one in compared.differences:
        printed = {row.temperature_c: row.resistance_ohm for row in few.rows}
        assert one.second_ohm == pytest.approx(printed[one.temperature_c])


def test_curves_that_share_no_temperature_are_not_compared():
    with pytest.raises(CurveError, match="no temperature in common"):
        compare_curves(
            beta_curve("a", 2500.0, 3500.0, 0.0, 20.0), beta_curve("b", 2500.0, 3500.0, 50.0, 90.0)
        )
