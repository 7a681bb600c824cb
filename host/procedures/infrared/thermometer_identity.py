"""What tells the thermometer of an infrared check from others, and whose word its limit is, for its paper."""

from collections.abc import Mapping

from host.procedures.infrared.infrared_settings import RIG_VIEW_DEG, InfraredSettings


def identity_of(settings: InfraredSettings) -> Mapping[str, str]:
    """Fields of `host.certificates.bodies.infrared.InfraredBody` that say which thermometer it is."""
    return {
        "serial": settings.thermometer_words
        if settings.is_rig_sensor
        else str(settings.instrument["serial"]),
        "last_digit": f"{settings.resolution_k:g} K",
        "distance_to_spot": _optics(settings),
        "emissivity_setting": f"{settings.set_emissivity:g}{_whose_setting(settings)}",
        "accuracy": _accuracy(settings),
        "limit_words": _limit(settings),
    }


def _optics(settings: InfraredSettings) -> str:
    if settings.is_rig_sensor:
        return f"view of {RIG_VIEW_DEG:g}°"
    optics = settings.handheld.optics
    smallest = f", smallest spot {optics.smallest_spot_mm:g} mm" if optics.smallest_spot_mm else ""
    return f"{optics.distance_to_spot:g} : 1{smallest}"


def _whose_setting(settings: InfraredSettings) -> str:
    if settings.is_rig_sensor:
        return ""
    return ", fixed" if settings.handheld.fixed_emissivity is not None else ", can be set"


def _accuracy(settings: InfraredSettings) -> str:
    if settings.is_rig_sensor:
        return ""
    thermometer = settings.handheld.thermometer
    if thermometer.accuracy_k is None:
        return "none stated"
    percent = (
        f" or ±{thermometer.accuracy_percent:g} % of the reading" if thermometer.accuracy_percent else ""
    )
    return f"±{thermometer.accuracy_k:g} K{percent}"


def _limit(settings: InfraredSettings) -> str:
    if settings.limit_k is not None:
        return f"±{settings.limit_k:g} K, as asked for"
    if settings.is_rig_sensor or settings.handheld.thermometer.accuracy_k is None:
        return "none: its maker states no accuracy, and none was asked for"
    larger = ", the larger of the two" if settings.handheld.thermometer.accuracy_percent else ""
    return f"its maker's accuracy{larger}"
