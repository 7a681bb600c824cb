"""Results of a certificate of any kind."""

from typing import Any

from host.certificates.certificate import Certificate
from host.certificates.kind import Kind
from host.certificates.results.of_in_place import in_place_results
from host.certificates.results.of_infrared import infrared_results
from host.certificates.results.of_ohms import ohms_results
from host.certificates.results.of_reference_probe import reference_probe_results
from host.certificates.results.of_sender import sender_results
from host.certificates.results.of_station_round import station_round_results
from host.certificates.results.results import Results

_RESULTS: dict[Kind, Any] = {
    Kind.SENDER: sender_results,
    Kind.HANDHELD_INFRARED: infrared_results,
    Kind.RIG_INFRARED: infrared_results,
    Kind.REFERENCE_PROBE: reference_probe_results,
    Kind.OHMS_CHANNEL: ohms_results,
    Kind.DECADE_BOX: ohms_results,
    Kind.RESISTANCE_METER: ohms_results,
    Kind.STATION_ROUND: station_round_results,
    Kind.IN_PLACE: in_place_results,
}


def results_of(certificate: Certificate) -> Results:
    """Tables, bars, strips and budgets of a certificate that is printable."""
    found: Results = _RESULTS[certificate.kind](certificate.body)
    return found
