"""What of one certificate is set beside what of another, so that a drift is of one and the same thing."""

import pytest

from host.instrument_history import tracks_of
from host.store import Store

METER = """
kind = "meter"
serial = "M-9"
certificate = "{certificate}"
issuer = "nobody at all"
issued = {issued}
k = 2.0
[[point]]
shown_ohm = {shown_ohm}
correction_ohm = {correction_ohm}
expanded_u_ohm = 0.05
[[point]]
shown_ohm = 9000.0
correction_ohm = -1.0
expanded_u_ohm = 0.5
"""


@pytest.fixture
def meter(store: Store):
    """A meter with certificates of two years; the shown resistance of the older one is chosen."""

    def kept(older_ohm: float):
        rows = (("R-1", "2023-05-01", older_ohm, -0.20), ("R-2", "2024-05-01", 1000.0, -0.25))
        for certificate, issued, shown_ohm, correction_ohm in rows:
            store.register.add_text(
                METER.format(
                    certificate=certificate, issued=issued, shown_ohm=shown_ohm, correction_ohm=correction_ohm
                )
            )
        return tracks_of(store.register.standing("meter", "M-9"))

    return kept


def test_corrections_within_a_twentieth_of_each_other_are_one_history(meter):
    track = meter(1049.0)[0]
    assert (track.where, track.unit) == ("at 1000 Ω shown", "Ω")
    assert [one.value for one in track.values] == [-0.20, -0.25]
    assert [one.expanded_u for one in track.values] == [0.05, 0.05]


def test_a_correction_elsewhere_is_no_part_of_it(meter):
    assert [one.value for one in meter(1051.0)[0].values] == [-0.25]
