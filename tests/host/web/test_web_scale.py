from hypothesis import given
from hypothesis import strategies as st

from host.web.scale import Scale, in_both_scales, in_scale


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


def test_a_temperature_in_words_is_said_on_both_scales():
    # 60 °C is 140 °F, 100 °C is 212 °F, -40 is -40: the definition of the scale.
    assert plain(in_both_scales("Set it to 60 °C.", Scale.CELSIUS)) == "Set it to 60 °C (140 °F)."
    assert plain(in_both_scales("Set it to 60 °C.", Scale.FAHRENHEIT)) == "Set it to 140 °F (60 °C)."
    assert plain(in_scale("0 to 100 °C", Scale.FAHRENHEIT)) == "32 to 212 °F"
    assert plain(in_scale("at -40 °C", Scale.FAHRENHEIT)) == "at -40 °F"


def test_a_difference_in_kelvin_is_never_taken_for_a_temperature():
    words = "Settling: 0.04 K/min, about 2 min; limit 1 K"
    assert plain(in_scale(words, Scale.FAHRENHEIT)) == words
    assert plain(in_both_scales(words, Scale.CELSIUS)) == words


@given(st.text(alphabet="abc 0123456789.-°CFKΩ", max_size=40))
def test_the_celsius_reader_sees_the_words_as_they_were_written(text):
    assert plain(in_scale(text, Scale.CELSIUS)) == plain(text)
