import pytest

from calibration.corrected_thermometer import CorrectedThermometer
from calibration.infrared.emissivity import Shot, Surface, reading_c
from calibration.infrared.handheld import Handheld
from calibration.infrared.planck import PlanckBand
from calibration.infrared.spot import Optics
from host.in_place_readings import spot_reading
from host.infrared_shot import TypedSurface
from host.spot_thermometer import SpotThermometer


@pytest.mark.parametrize(("band", "too_low_k"), [((3.0, 5.0), 5.02), ((8.0, 14.0), 6.89)])
def test_a_spot_is_worked_out_in_the_band_of_its_thermometer(band, too_low_k):
    """What 0.8 seen with 0.95 shows too little: Planck's law with CODATA's constants, integrated apart."""
    law, surface = PlanckBand(from_um=band[0], to_um=band[1]), Surface(emissivity=0.8, half_width=0.0)
    own = CorrectedThermometer(resolution_k=0.1, accuracy_k=1.0)
    handheld = Handheld(
        thermometer=own, fixed_emissivity=None, optics=Optics(distance_to_spot=12.0), band=law
    )
    thermometer = SpotThermometer(
        serial="B-1", words="", cited="thermometer B-1", sha256="", corrections=own, handheld=handheld
    )
    shown_c = reading_c(90.0, surface=surface, shot=Shot(set_emissivity=0.95, surroundings_c=40.0), law=law)
    assert 90.0 - shown_c == pytest.approx(too_low_k, abs=0.02)
    read = spot_reading(
        f"{shown_c:.4f}C",
        surface=TypedSurface(surface=surface, words="paint"),
        set_emissivity=0.95,
        surroundings_c=40.0,
        thermometer=thermometer,
    )
    assert read.temperature_c == pytest.approx(90.0, abs=0.01)
