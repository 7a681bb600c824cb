"""From a station to the first event of its ohms check, or a refusal that says what to do."""

from host.errors import DeskError
from host.live import Live
from host.local_time import zone_to_keep
from host.procedures.bench_setup import box_plan
from host.procedures.event import Event
from host.procedures.ohms.ohms_check import Kind, OhmsCheckSettings
from host.procedures.station_instruments import certified, of_this_world
from host.store import Store


def ohms_check_started(station: str, operator: str, *, store: Store, live: Live) -> Event:
    """First event of an ohms check.

    Raises
    ------
    DeskError
        If it cannot begin: nothing was heard of the station, or there is no decade box it may rest on.
    """
    latest = live.latest(station)
    if latest is None:
        raise DeskError(f"{station} has sent no reading yet. Switch the rig on and look at its light.")
    settings = OhmsCheckSettings(
        station=station,
        operator=operator,
        decade_box=of_this_world(certified(store, "decade_box", station), latest),
        time_zone=zone_to_keep(store.settings.read().time_zone, store.now()),
    )
    try:
        plan = box_plan(
            settings.decade_box,
            sender_ranges_ohm=settings.sender_ranges_ohm,
            probe_range_ohm=settings.probe_range_ohm,
        )
    except ValueError as error:  # a box with too few steps
        raise DeskError(str(error)) from error
    payload = {"settings": settings.as_json(), "plan": [setting.as_json() for setting in plan]}
    return Event(kind=Kind.STARTED, payload=payload)
