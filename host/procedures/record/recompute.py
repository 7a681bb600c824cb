"""A certificate worked out again from raw readings, with register and curve as they were.

The method's version is that of today's code. Where it is the one that judged, the numbers must come out the
same: reported digits exactly, in full to 1e-9. Where the code is newer, the certificate stays as issued, and
old and new are shown side by side.
"""

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from calibration.bench_point import BenchPointError
from calibration.errors import CalibrationError
from host.certificates.canonical import canonical_json, certificate_from_canonical
from host.certificates.certificate import Certificate
from host.certificates.errors import CertificateError
from host.certificates.first_difference import first_difference
from host.citation import Citation
from host.errors import DeskError
from host.procedures.authorisation import AMENDABLE, AUTHORISATION
from host.procedures.event import Event
from host.procedures.infrared.infrared_check import state_of as infrared_state_of
from host.procedures.infrared.infrared_result import certificate_of as infrared_certificate
from host.procedures.ohms.channel_certificate import ChannelSettings, channel_certificate
from host.procedures.ohms.meter_check import meter_certificate
from host.procedures.ohms.meter_check import settings_in as meter_settings_in
from host.procedures.record.issued_record import IssuedRecord, not_as_it_came
from host.procedures.record.recompute_round import round_again
from host.procedures.references.probe_check import probe_certificate
from host.procedures.references.probe_check import settings_in as probe_settings_in
from host.procedures.references.probe_reading import read_again
from host.procedures.run_kind import RunKind
from host.procedures.sender import sender_check
from host.procedures.sender.hand_check import hand_certificate, judged
from host.procedures.sender.hand_check import view_of as hand_view_of
from host.procedures.sender.sender_check import state_of
from host.procedures.sender.sender_result import certificate_of
from host.procedures.vehicle import in_place
from host.procedures.vehicle.in_place_record import record_of
from host.procedures.vehicle.in_place_result import result_of
from host.shop import Shop
from host.store.chain_link import sha256_of
from host.store.rests_on import differs_from

#: Said by the shop when it was let out, and not worked out from readings.
_LET_OUT = (
    *AMENDABLE,
    "number",
    "issued",
    "shop",
    "shop_address",
    "logo",
    "operator",
    "authorised_by",
    "authorised",
    "draft",
    "supersedes",
    "change",
    "previous_number",
    "previous_head",
)
#: Explanations are weighed against every curve that the program knows today; they are no measurement.
_OPINIONS = "opinions"
_METHOD = "method"
#: Words made of verdict and numbers, which are compared themselves: a later version may say it better.
_SENTENCE = "sentence"
_VERSION = re.compile(r"version (\d+)")


class RecomputeError(DeskError):
    """A certificate that cannot be worked out again: readings are gone, or nobody knows how."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Recomputed:
    """What came of working a certificate out again.

    Attributes
    ----------
    what : str
        "certificate 000001", "comparison 0007".
    difference : str or None
        First difference, in words; None where all is the same.
    method_then, method_now : str
        Method as issued and of today's code.
    rows : tuple[tuple[str, str, str], ...]
        Name of each reported number with its digits as issued and as now.
    remarks : tuple[str, ...]
        What differs and is no result.
    """

    what: str
    difference: str | None
    method_then: str = ""
    method_now: str = ""
    rows: tuple[tuple[str, str, str], ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def is_of_another_method(self) -> bool:
        """Tell whether today's code judges by another version of the method than the one that issued it."""
        return _versions(self.method_then) != _versions(self.method_now)


def recompute(record: IssuedRecord) -> Recomputed:
    """Work a certificate out again and hold it against what was issued.

    Raises
    ------
    RecomputeError
        If that cannot be done; says why.
    """
    old = certificate_from_canonical(record.canonical_json)
    changed = not_as_it_came(record.run, record.kept) or differs_from(
        record.link, record.timed_events, record.kept
    )
    if changed is not None:  # whatever comes out of it is no recomputation
        return Recomputed(
            what=f"certificate {record.number}",
            difference=changed,
            method_then=old.method,
            method_now=old.method,
        )
    new = _as_let_out(certificate_again(record), old)
    old = _without_authorisation(old)
    before = canonical_json(old)
    try:
        after = canonical_json(new)
    except CertificateError as error:
        raise RecomputeError(f"Certificate {record.number} comes out unprintable now: {error}") from error
    result = Recomputed(
        what=f"certificate {record.number}",
        difference=first_difference(before, after, without={_OPINIONS, _METHOD, _SENTENCE}),
        method_then=old.method,
        method_now=new.method,
        rows=_rows(json.loads(before)["body"], json.loads(after)["body"]),
        remarks=_remarks(old, new),
    )
    if result.difference is None and not result.is_of_another_method and old.method != new.method:
        return replace(result, difference=f"method: {old.method!r} is now {new.method!r}")
    if result.difference is None and record.link.get("data_sha256") != sha256_of(record.canonical_json):
        return replace(result, difference="its data: they are not those that its link in the chain names")
    return result


def certificate_again(record: IssuedRecord) -> Certificate:
    """Certificate of a record, by today's code.

    Raises
    ------
    RecomputeError
        If that cannot be done; says why.
    """
    try:
        if record.kind == RunKind.SENDER_CHECK:
            return _of_sender_check(record)
        if record.kind == RunKind.CHANNEL_CHECK:
            channel = ChannelSettings.from_json(record.events[0].payload["settings"])
            return channel_certificate(
                channel, record.readings_of, number=record.number, shop=Shop(), run=record.run
            )
        if record.kind == RunKind.IN_PLACE:
            return _of_comparison(record)
        if record.kind == RunKind.INFRARED_CHECK:
            return _of_infrared_check(record)
        if record.kind == RunKind.PROBE_CHECK:
            return _of_probe_check(record)
        if record.kind == RunKind.STATION_ROUND:
            return round_again(record)
        if record.kind == RunKind.METER_CHECK:
            return meter_certificate(
                meter_settings_in(record.events),
                run=record.run,
                number=record.number,
                shop=Shop(),
                issued=date.min,
            )
        if record.kind == RunKind.HAND_CHECK:
            settings = hand_view_of(record.run, record.events).settings
            return hand_certificate(settings, judged(settings), record.number, Shop(), date.min)
    except RecomputeError:
        raise
    except (BenchPointError, CalibrationError, DeskError, ValueError, KeyError, IndexError) as error:
        raise RecomputeError(f"Certificate {record.number} cannot be worked out again: {error}") from error
    raise RecomputeError(
        f"This program has no way to work out a run of kind {record.kind!r} again: update it."
    )


def recompute_comparison(run: int, events: Sequence[Event]) -> Recomputed:
    """Work out again what a comparison on the vehicle came to; it is a record and has no certificate.

    Raises
    ------
    RecomputeError
        If it never came to an end.
    """
    *before, last = events if events else [None]
    if last is None or last.kind != in_place.Kind.FINISHED:
        raise RecomputeError(f"Comparison {run:04d} came to no result: there is nothing to compare with.")
    state = in_place.state_of([event for event in before if event is not None])
    result = result_of(state, state.started.reference)
    now = {"words": result.words, "next_action": result.next_action}
    changed = [name for name, text in now.items() if last.payload[name] != text]
    said = [f"{name}: {last.payload[name]!r} is now {now[name]!r}" for name in changed]
    return Recomputed(
        what=f"comparison {run:04d}",
        difference=said[0] if said else None,
        method_then=f"version {state.started.method_version}",
        method_now=f"version {in_place.METHOD_VERSION}",
        rows=tuple((name, str(last.payload[name]), text) for name, text in now.items()),
    )


def _of_sender_check(record: IssuedRecord) -> Certificate:
    before = [event for event in record.events if event.kind != sender_check.Kind.RESULT]
    state = state_of(before)
    cited = [*state.box_read, *(window.citation for window in state.windows)]
    _refuse_gone(record, cited)
    return certificate_of(state, record.readings_of, number=record.number, shop=Shop(), run=record.run)


def _refuse_gone(record: IssuedRecord, cited: Iterable[Citation]) -> None:
    for citation in cited:
        if not len(record.readings_of(citation)):
            raise RecomputeError(f"The readings are gone: {citation.words()}. Look for a backup with them.")


def _of_comparison(record: IssuedRecord) -> Certificate:
    state = in_place.state_of(record.events)
    result = result_of(state, state.started.reference)
    made = record_of(state, result, number=record.number, shop=Shop(), run=record.run, read_utc_s=())
    # When it was read is the store's to say, and stands in no event.
    return replace(made, measured=certificate_from_canonical(record.canonical_json).measured)


def _of_probe_check(record: IssuedRecord) -> Certificate:
    read = probe_settings_in(record.events)
    _refuse_gone(record, read.cited.values())
    settings = read_again(read, record.readings_of)
    made = probe_certificate(settings, run=record.run, number=record.number, shop=Shop(), today=date.min)
    return replace(made, measured=certificate_from_canonical(record.canonical_json).measured)


def _of_infrared_check(record: IssuedRecord) -> Certificate:
    old = certificate_from_canonical(record.canonical_json)
    # When it was shot, and how it was found by another run, stand in no event of this one.
    return infrared_certificate(
        infrared_state_of(record.events),
        run=record.run,
        number=record.number,
        shop=Shop(),
        issued=date.min,
        measured=old.measured,
        as_found=old.as_found,
    )


def _remarks(old: Certificate, new: Certificate) -> tuple[str, ...]:
    """What differs and is no result."""
    remarks = []
    if old.sentence != new.sentence:
        remarks.append(
            "The sentence is worded otherwise today, and rests on verdict and numbers alone: "
            f"{old.sentence!r} would be {new.sentence!r}."
        )
    if old.opinions != new.opinions:
        remarks.append(
            "The opinions differ: they are weighed against the curves known today, and no measurement."
        )
    return tuple(remarks)


def _as_let_out(new: Certificate, old: Certificate) -> Certificate:
    """What was worked out, with what the shop said of it when it let it out."""
    changed: dict[str, Any] = {name: getattr(old, name) for name in _LET_OUT}
    if new.as_found is not None and old.as_found is not None:  # it may have been a draft at the time
        changed["as_found"] = replace(new.as_found, number=old.as_found.number)
    return replace(new, **changed)


def _without_authorisation(certificate: Certificate) -> Certificate:
    kept = tuple(one for one in certificate.conditions if one[0] != AUTHORISATION)
    return replace(certificate, conditions=kept)


def _versions(method: str) -> list[str]:
    return _VERSION.findall(method)[:1]


def _rows(before: Any, after: Any, path: str = "") -> tuple[tuple[str, str, str], ...]:
    """Every reported number of the results beside what it is now."""
    if isinstance(before, Mapping):
        if set(before) == {"reported", "full"}:
            now = after.get("reported", "gone") if isinstance(after, Mapping) else "gone"
            return ((path, str(before["reported"]), str(now)),)
        other = after if isinstance(after, Mapping) else {}
        return tuple(
            row
            for name, value in before.items()
            for row in _rows(value, other.get(name), f"{path}.{name}".lstrip("."))
        )
    if isinstance(before, list):
        others = after if isinstance(after, list) else []
        return tuple(
            row
            for at, value in enumerate(before)
            for row in _rows(value, others[at] if at < len(others) else None, f"{path}[{at}]")
        )
    return ()
