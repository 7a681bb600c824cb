"""What may be read of a station as of now."""

from dataclasses import replace

import pytest

from host.live import CATCHING_UP_FROM, SILENT_AFTER_S, StationLive, StationState
from host.readings_of_now import not_of_now

NOW = StationLive(
    station="bench-1", state=StationState.LIVE, words="live", boot="b", latest=None, presence=None, to_go=0,
    silent_for_s=0.4, newest_age_s=0.4, trouble=(), first_synchronised=None, clock_step=None,
)  # fmt: skip


def test_a_station_that_speaks_and_reads_is_of_now():
    assert not_of_now(NOW) == ""
    assert not_of_now(replace(NOW, newest_age_s=SILENT_AFTER_S, to_go=CATCHING_UP_FROM - 1)) == ""


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"newest_age_s": None}, "no reading since this desk was started"),
        ({"newest_age_s": SILENT_AFTER_S + 1.0}, "no reading for 11 s"),
        ({"to_go": CATCHING_UP_FROM}, "was read earlier"),
        ({"state": StationState.SILENT, "words": "silent for 20 s"}, "silent for 20 s"),
    ],
)
def test_a_station_that_speaks_without_reading_or_of_then_is_not(changed, said):
    assert said in not_of_now(replace(NOW, **changed))


def test_a_station_that_nobody_knows_is_not():
    assert "knows no such station" in not_of_now(None)
