import math

import click
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from calibration.bath.fixed_points import boiling_at_altitude, boiling_at_pressure
from host.errors import DeskError
from host.one_line import OneLineCommand
from host.quantity import (
    POINT,
    QuantityError,
    altitude_m_of,
    emissivity_of,
    point_of,
    pressure_pa_of,
    resistance_ohm_of,
    temperature_c_of,
)


@pytest.mark.parametrize(
    ("text", "temperature_c"),
    # 194, 32, -40 and 212 °F are 90, 0, -40 and 100 °C: the scale's own definition.
    [("90C", 90), ("90 °C", 90), ("194F", 90), ("194 °F", 90), ("32F", 0), ("-40F", -40), ("-40c", -40),
     ("−20C", -20), ("+5.5C", 5.5), (".5C", 0.5), ("212f", 100)],
)  # fmt: skip
def test_temperatures_are_read_in_both_scales(text, temperature_c):
    assert temperature_c_of(text) == pytest.approx(temperature_c, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "resistance_ohm"),
    [("2.45k", 2450), ("2450", 2450), ("2k45", 2450), ("2.45kΩ", 2450), ("2.45 kohm", 2450), ("2.45K", 2450),
     ("322Ω", 322), ("322 ohm", 322), ("1.2M", 1.2e6), ("80.9", 80.9), ("1e3", 1000)],
)  # fmt: skip
def test_resistances_are_read_with_and_without_the_k(text, resistance_ohm):
    assert resistance_ohm_of(text) == pytest.approx(resistance_ohm, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "pressure_pa"),
    # 29.92125 inHg of 3386.389 Pa are the standard atmosphere (NIST Special Publication 811, appendix B).
    [("1013hPa", 101300), ("95kPa", 95000), ("101325Pa", 101325), ("1013 mbar", 101300), ("1.013bar", 101300),
     ("29.92125inHg", 101325)],
)  # fmt: skip
def test_pressures_are_read_in_the_units_barometers_have(text, pressure_pa):
    assert pressure_pa_of(text) == pytest.approx(pressure_pa, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "altitude_m"), [("1500m", 1500), ("1.5km", 1500), ("5000ft", 1524), ("-400m", -400), ("0m", 0)]
)
def test_altitudes_are_read_in_metres_and_feet(text, altitude_m):
    assert altitude_m_of(text) == pytest.approx(altitude_m, rel=1e-12)


def test_an_emissivity_is_a_plain_number():
    assert emissivity_of("0.95") == 0.95
    assert emissivity_of("1") == 1.0


def test_a_point_is_a_temperature_a_colon_and_a_resistance():
    point = point_of("68F:2.45k")
    assert (point.temperature_c, point.resistance_ohm) == pytest.approx((20.0, 2450.0))
    assert point.u_temperature_k is None and point.u_resistance_ohm is None


@pytest.mark.parametrize(
    ("read", "text", "words"),
    [
        (temperature_c_of, "90", "no unit"),
        (temperature_c_of, "363K", "not read here"),
        (temperature_c_of, "90,5C", "with a point"),
        (temperature_c_of, "-300C", "absolute zero"),
        (temperature_c_of, "5000C", "above 1000"),
        (temperature_c_of, "", "Write it like 90C"),
        (temperature_c_of, "warm", "Write it like 90C"),
        (temperature_c_of, "nanC", "Write it like 90C"),
        (temperature_c_of, "9٠C", "not read here"),
        (resistance_ohm_of, "2,45k", "with a point"),
        (resistance_ohm_of, "0", "above zero"),
        (resistance_ohm_of, "-5", "above zero"),
        (resistance_ohm_of, "2.45m", "not read here"),
        (resistance_ohm_of, "2.45 k k", "Write it like"),
        (resistance_ohm_of, "1e400", "open circuit"),
        (resistance_ohm_of, "inf", "Write it like"),
        (emissivity_of, "95%", "0.95"),
        (emissivity_of, "95", "0.95"),
        (emissivity_of, "0", "0.95"),
        (pressure_pa_of, "1013", "no unit"),
        (pressure_pa_of, "1013kPa", "absolute"),
        (pressure_pa_of, "14.7psi", "not read here"),
        (altitude_m_of, "1500", "no unit"),
        (altitude_m_of, "9000m", "its unit"),
        (altitude_m_of, "5001m", "5000 m"),
        (altitude_m_of, "-451m", "-450"),
        (pressure_pa_of, "499hPa", "50 to 110 kPa"),
        (pressure_pa_of, "111kPa", "500 to 1100 hPa"),
        (pressure_pa_of, "0kPa", "absolute"),
        (point_of, "20C", "20C:2.45k"),
        (point_of, "20C:2.45k:1", "20C:2.45k"),
        (point_of, "2.45k:20C", "temperature"),
        (point_of, "20:2.45k", "no unit"),
    ],
)
def test_what_cannot_be_read_is_refused_in_words(read, text, words):
    with pytest.raises(QuantityError, match=words) as refusal:
        read(text)
    assert isinstance(refusal.value, DeskError)
    assert len(str(refusal.value)) < 200


@given(st.text(max_size=20))
def test_whatever_is_typed_is_a_quantity_or_a_refusal(text):
    for read in (temperature_c_of, resistance_ohm_of, emissivity_of, pressure_pa_of, altitude_m_of):
        try:
            number = read(text)
        except QuantityError:
            continue
        assert math.isfinite(number)


@given(st.floats(-40.0, 150.0), st.floats(1.0, 1e6))
def test_a_point_in_fahrenheit_and_kilohms_is_the_same_point(temperature_c, resistance_ohm):
    in_si = point_of(f"{temperature_c!r}C:{resistance_ohm!r}")
    in_other = point_of(f"{temperature_c * 1.8 + 32.0!r}F:{resistance_ohm / 1000.0!r}k")
    assert in_other.temperature_c == pytest.approx(in_si.temperature_c, abs=1e-9)
    assert in_other.resistance_ohm == pytest.approx(in_si.resistance_ohm, rel=1e-12)


def test_a_command_refuses_a_wrong_quantity_in_one_line():
    @click.command("try", cls=OneLineCommand)
    @click.option("--point", type=POINT, multiple=True)
    def command(point):
        click.echo(f"{point[0].resistance_ohm:g}")

    assert CliRunner().invoke(command, ["--point", "-20C:15k"]).output == "15000\n"
    refused = CliRunner().invoke(command, ["--point", "20C:2,45k"])
    assert refused.exit_code == 2
    assert "2,45k" in refused.stderr and len(refused.stderr.splitlines()) == 1


def test_an_altitude_is_taken_exactly_where_water_can_be_boiled_at_it():
    for end_m in (-450, 5000):
        assert boiling_at_altitude(altitude_m_of(f"{end_m}m")).temperature_c > 80.0
    for beyond_m in (-451, 5001):
        with pytest.raises(QuantityError, match="outside -450 to 5000 m"):
            altitude_m_of(f"{beyond_m}m")


def test_a_pressure_is_taken_exactly_where_water_can_be_boiled_at_it():
    for end_hpa in (500, 1100):
        assert boiling_at_pressure(pressure_pa_of(f"{end_hpa}hPa") / 1000.0).temperature_c > 80.0
    for beyond_hpa in (499, 1101):
        with pytest.raises(QuantityError, match="500 to 1100 hPa"):
            pressure_pa_of(f"{beyond_hpa}hPa")
