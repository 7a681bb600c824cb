"""Corrections of a station's infrared sensor hold for what its cell held when it was certified."""

import pytest

from host.witnesses import CertifiedWitness, infrared_witness

ENTRY = {
    "serial": "bench-1",
    "certificate": "K-78",
    "resolution_k": 0.02,
    "k": 2.0,
    "certified_emissivity": 0.95,
    "point": [{"shown_c": at, "correction_k": 0.7, "expanded_u_k": 0.8} for at in (25.0, 85.0)],
}


@pytest.mark.parametrize(("cell", "held"), [(None, "nobody knows what"), (0.6, "0.6")])
def test_a_sensor_whose_cell_holds_another_number_or_does_not_say_is_shown_as_bought_with_the_reason(
    cell, held
):
    own = CertifiedWitness.of(ENTRY)
    said = infrared_witness(60.0, own, cell_emissivity=cell)
    assert said.witness.temperature_c == 60.0
    assert said.words == f"as bought: its corrections hold for 0.95 in its cell, which holds {held}"
    assert infrared_witness(60.0, own, cell_emissivity=0.95).witness.temperature_c == pytest.approx(60.7)


def test_an_entry_that_does_not_say_what_the_cell_held_corrects_nothing():
    own = CertifiedWitness.of({name: what for name, what in ENTRY.items() if name != "certified_emissivity"})
    assert not own.holds_at(0.95)
