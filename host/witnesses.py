"""Witnesses of a temperature, and how surely each speaks as bought: the same live and on paper."""

from host.certificates.certificate import Witness

PROBE = "contact probe"
ONE_WIRE = "1-wire witness"
INFRARED = "infrared"
SENDER = "sender shows"

# DS18B20: ±0.5 °C from -10 to 85 °C, ±1 °C to 100 °C (data sheet limits, from memory), as bought.
_ONE_WIRE_LIMIT_K, _ONE_WIRE_HOT_LIMIT_K, _ONE_WIRE_HOT_C = 0.5, 1.0, 85.0
# Non-contact sensor: ±0.5 °C near room (data sheet), wider elsewhere (from memory: ±1 to ±4 °C); the
# surface of the water and its steam come on top.
_INFRARED_LIMIT_K, _INFRARED_WARM_LIMIT_K, _INFRARED_WARM_C = 0.8, 1.4, 50.0


def one_wire_witness(temperature_c: float) -> Witness:
    """The 1-wire witness, with the limit it was bought with. [°C]"""
    limit_k = _ONE_WIRE_HOT_LIMIT_K if temperature_c > _ONE_WIRE_HOT_C else _ONE_WIRE_LIMIT_K
    return Witness(name=ONE_WIRE, temperature_c=temperature_c, expanded_u_k=limit_k)


def infrared_witness(temperature_c: float) -> Witness:
    """The infrared sensor over the open water. [°C]"""
    limit_k = _INFRARED_WARM_LIMIT_K if temperature_c > _INFRARED_WARM_C else _INFRARED_LIMIT_K
    return Witness(name=INFRARED, temperature_c=temperature_c, expanded_u_k=limit_k)
