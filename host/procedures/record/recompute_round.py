"""The certificate of a round worked out again: what rigs read anew from their readings, the rest as taken.

A result that was taken from a finished check has a certificate of its own, which is worked out again by its
own number.
"""

from datetime import date

from host.certificates.canonical import certificate_from_canonical
from host.certificates.certificate import Certificate
from host.citation import Citation
from host.errors import DeskError
from host.procedures.bench_setup import ReadingsOf
from host.procedures.event import Event
from host.procedures.ohms.reused_check import ReusedCheck
from host.procedures.record.issued_record import IssuedRecord
from host.procedures.rounds.resistor_reading import read_resistor
from host.procedures.rounds.station_round import Kind, Source, state_of
from host.procedures.rounds.station_round_result import certificate_of
from host.shop import Shop


def round_again(record: IssuedRecord) -> Certificate:
    """Certificate of a round by today's code.

    Raises
    ------
    DeskError
        If readings are gone, or can no longer be read.
    """
    before = [_read_again(event, record.readings_of) for event in record.events if event.kind != Kind.RESULT]
    return certificate_of(
        state_of(before),
        run=record.run,
        number=record.number,
        shop=Shop(),
        issued=date.min,
        # When the results came is the store's to say, and stands in no event.
        measured=certificate_from_canonical(record.canonical_json).measured,
    )


def _read_again(event: Event, readings_of: ReadingsOf) -> Event:
    """A result that a rig read, with its value from the cited readings; any other event as it is."""
    if event.kind != Kind.TAKEN or event.payload["source"] != Source.READ:
        return event
    payload = dict(event.payload)
    cited, rests_on = Citation.from_json(payload["cites"]), payload["rests_on"]
    packs = readings_of(cited)
    if len(packs) == 0:
        raise DeskError(f"The readings are gone: {cited.words()}. Look for a backup with them.")
    found = read_resistor(
        packs,
        check=ReusedCheck.from_json(rests_on["check"]) if rests_on else None,
        decade_box=rests_on.get("decade_box", {}),
        readings_of=readings_of,
    )
    stated = found.stated
    payload |= {
        "value": stated.value,
        "expanded_u": stated.expanded_u,
        "k": stated.k,
        "words": found.words,
        "simulated": found.is_simulated,
    }
    return Event(kind=event.kind, payload=payload)
