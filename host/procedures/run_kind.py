"""Kinds of run, as the store keeps them."""

from enum import StrEnum


class RunKind(StrEnum):
    """What a run is."""

    SENDER_CHECK = "sender_check"  # at a station, led by the desk
    HAND_CHECK = "hand_check"  # a sender, read and typed by a person
    IN_PLACE = "in_place"  # on the vehicle, read and typed by a person
    CHANNEL_CHECK = "channel_check"  # the resistance channel of a station, from a run's ohms check
    INFRARED_CHECK = "infrared_check"  # an infrared thermometer, or the rig's own sensor, at the target
    PROBE_CHECK = "probe_check"  # the reference probe at ice and in boiling water
    WITNESS_CHECK = "witness_check"  # the 1-wire witness beside the probe
    STATION_ROUND = "station_round"  # one artefact at every station
    EXERCISE = "exercise"  # a planted fault, and what students answered
    OHMS_CHECK = "ohms_check"  # the resistance channels of a station against the decade box, led by the desk
    METER_CHECK = "meter_check"  # a resistance meter and a decade box against each other, typed
