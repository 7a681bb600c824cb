"""An issued certificate as a folder for another machine: paper, events, raw readings, register, curve."""

import hashlib
import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from calibration.contract.messages import MessageError
from calibration.contract.readings import ReadingPack
from calibration.contract.senml import decode_readings
from calibration.errors import CurveError
from host.citation import Citation
from host.curve_choice import text_of_curve
from host.errors import DeskError
from host.given_file import GivenFileError, read_given
from host.procedures.record.issued_record import IssuedRecord
from host.store import Store
from host.store.chain_link import head_of
from host.store.kept_reading import KeptReading
from host.store.runs import TimedEvent

FORMAT, VERSION = "ohmbath certificate folder", 2
_SUMS = "SHA256SUMS"
#: Readings of days on end; more is no record of a certificate. [byte]
_LARGEST_FILE = 500_000_000
_RUN, _READINGS, _DATA, _PAPER = "run.json", "readings.jsonl", "certificate.json", "certificate.pdf"
_CHAIN, _REGISTER, _CURVE = "chain.json", "register.json", "curve.toml"
_README = """What stands behind certificate {number}.

certificate.pdf   the paper as issued
certificate.json  the same as data (inside the paper too)
chart.svg         its chart
run.json          the run: every event, with register entries and curve by value in the first
readings.jsonl    each cited reading as the rig sent it (SenML, RFC 8428), one a line,
                  with what the desk keeps beside it
register.json     the register's entries that were used
curve.toml        the reference curve that was used
chain.json        its links in the chain of issued certificates
SHA256SUMS        digests of all these: sha256sum -c SHA256SUMS

Work it out again, on any machine with the program:  ohmbath certificate recompute --from THIS_FOLDER
Temperatures in °C, differences in K, resistances in Ω, times in seconds since 1970 UTC or ISO 8601.
"""


class RecordFolderError(DeskError):
    """A folder that cannot be written, or is no whole record of a certificate."""


@dataclass(slots=True)
class _Cited:
    """Readings of a folder, by station, boot and number."""

    kept: Mapping[tuple[str, str, int], KeptReading]

    def __call__(self, cited: Citation) -> Sequence[ReadingPack]:
        keys = ((cited.station, cited.boot, seq) for seq in range(cited.first, cited.last + 1))
        return [self.kept[key].pack() for key in keys if key in self.kept]


def write_record(store: Store, record: IssuedRecord, folder: Path) -> list[str]:
    """Write a record into a new folder; the names of its files.

    Raises
    ------
    RecordFolderError
        If the folder holds something already.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise RecordFolderError(f"{folder} is not empty, and nothing is overwritten: name a new folder.")
    folder.mkdir(parents=True, exist_ok=True)
    os.chmod(folder, 0o700)  # it holds a customer's name
    issued = store.certificates.get(record.number)
    run = store.runs.get(record.run)
    settings = _settings_of(record.timed_events)
    contents: dict[str, bytes] = {
        _PAPER: issued.files.pdf,
        _DATA: record.canonical_json,
        "chart.svg": issued.files.chart_svg,
        _RUN: _json(
            {
                "format": FORMAT,
                "version": VERSION,
                "number": record.number,
                "run": record.run,
                "kind": record.kind,
                "station": run.station,
                "readings": len(record.kept),
                "events": [
                    {"kind": one.kind, "payload": dict(one.payload), "appended_utc_s": one.appended_utc_s}
                    for one in record.timed_events
                ],
            }
        ),
        _READINGS: "".join(_line(one) for one in record.kept).encode("utf-8"),
        _REGISTER: _json(_register_entries(settings)),
        _CHAIN: _json(
            [
                {"content": link.content, "head": link.head}
                for link in store.chain.of_certificate(record.number)
            ]
        ),
        "README.txt": _README.format(number=record.number).encode("utf-8"),
    }
    curve = _curve(settings, store)
    if curve:
        contents[_CURVE] = curve.encode("utf-8")
    for name, content in contents.items():
        (folder / name).write_bytes(content)
    sums = "".join(f"{hashlib.sha256(content).hexdigest()}  {name}\n" for name, content in contents.items())
    (folder / _SUMS).write_text(sums, encoding="utf-8")
    return [*contents, _SUMS]


def read_record(folder: Path) -> IssuedRecord:
    """Record of an exported folder, after every file of it was checked.

    Raises
    ------
    RecordFolderError
        If something is missing, was altered, or is of a later version.
    """
    contents = _checked(folder)
    try:
        run = json.loads(contents[_RUN])
        if run["format"] != FORMAT or run["version"] > VERSION:
            raise RecordFolderError(f"{folder} is of a later version than this program: update it.")
        _check_links(folder, run["number"], contents)
        lines = contents[_READINGS].decode("utf-8").splitlines()
        kept = [_kept(json.loads(line), run["version"]) for line in lines]
        events = tuple(TimedEvent(**one) for one in run["events"])
        _check_beside(folder, run, _settings_of(events), contents)
        return IssuedRecord(
            number=run["number"],
            run=int(run["run"]),
            kind=run["kind"],
            timed_events=events,
            canonical_json=contents[_DATA],
            kept=tuple(kept),
            link=json.loads(json.loads(contents[_CHAIN])[0]["content"]),
            readings_of=_Cited({(one.station, one.boot, one.seq): one for one in kept}),
        )
    except (ValueError, KeyError, TypeError, AttributeError, MessageError) as error:
        raise RecordFolderError(f"{folder} is no whole record of a certificate ({error}).") from error


def _line(kept: KeptReading) -> str:
    try:
        return json.dumps(kept.as_json(), ensure_ascii=False, sort_keys=True) + "\n"
    except UnicodeDecodeError as error:
        raise RecordFolderError(
            f"The message of reading {kept.seq} ({kept.station}, boot {kept.boot}) is no text any more: it "
            "was changed since it came. Keep the data folder as it is, and look for a backup from before."
        ) from error


def _kept(values: Mapping[str, Any], version: int) -> KeptReading:
    if version >= 2:
        return KeptReading.from_json(values)
    payload = values["payload"].encode("utf-8")  # nothing stood beside a message yet
    pack = decode_readings(payload, station=values["station"])
    if not isinstance(pack, ReadingPack):
        raise MessageError(f"line of reading {values['seq']} declares a gap")
    return KeptReading.of(pack, payload, 0.0)


def _settings_of(events: Sequence[TimedEvent]) -> Mapping[str, Any]:
    return dict(events[0].payload.get("settings", {})) if events else {}


def _register_entries(settings: Mapping[str, Any]) -> dict[str, Any]:
    return {
        name: value
        for name, value in settings.items()
        if isinstance(value, Mapping) and {"kind", "serial"} <= set(value)
    }


def _curve(settings: Mapping[str, Any], store: Store) -> str:
    text = _curve_by_value(settings)
    if text:
        return text
    try:
        return text_of_curve(str(settings.get("curve", "")), store.curves)
    except CurveError:
        return ""


def _curve_by_value(settings: Mapping[str, Any]) -> str:
    return str(settings.get("curve_text") or settings.get("curve_toml") or "")


def _checked(folder: Path) -> dict[str, bytes]:
    try:
        sums = _content(folder / _SUMS).decode("utf-8").splitlines()
        contents = {}
        for line in sums:
            digest, _, name = line.partition("  ")
            if "/" in name or "\\" in name or name in ("", ".", ".."):
                raise RecordFolderError(f"{folder}/{_SUMS} names {name!r:.40}, which is no file of it.")
            contents[name] = _content(folder / name)
            if hashlib.sha256(contents[name]).hexdigest() != digest:
                raise RecordFolderError(f"{folder / name} was altered: get the folder anew.")
        return contents
    except (GivenFileError, UnicodeDecodeError) as error:
        raise RecordFolderError(f"{folder} is no whole record of a certificate: {error}") from error


def _content(path: Path) -> bytes:
    return read_given(path, most_bytes=_LARGEST_FILE, what="file of a record")


def _check_links(folder: Path, number: str, contents: Mapping[str, bytes]) -> None:
    """Hold paper and data against the link by which the certificate came into its chain."""
    links = json.loads(contents[_CHAIN])
    if any(head_of(link["content"]) != link["head"] for link in links):
        raise RecordFolderError(f"{folder / _CHAIN} was altered: get the folder anew.")
    said = json.loads(links[0]["content"])
    digests = {_PAPER: said["pdf_sha256"], _DATA: said["data_sha256"]}
    for name, digest in digests.items():
        if said["number"] != number or hashlib.sha256(contents[name]).hexdigest() != digest:
            raise RecordFolderError(f"{folder / name} is not what was issued as {number}.")


def _check_beside(
    folder: Path, run: Mapping[str, Any], settings: Mapping[str, Any], contents: Mapping[str, bytes]
) -> None:
    """Hold what lies beside the run for a reader against the run, which has it by value."""
    curve = _curve_by_value(settings)
    beside = {
        _REGISTER: contents[_REGISTER] == _json(_register_entries(settings)),
        _CURVE: not curve or contents[_CURVE] == curve.encode("utf-8"),
        _READINGS: contents[_READINGS].count(b"\n") == run["readings"],
    }
    for name, is_the_same in beside.items():
        if not is_the_same:
            raise RecordFolderError(f"{folder / name} is not what its run says: get the folder anew.")


def _json(value: Any) -> bytes:
    return (json.dumps(value, ensure_ascii=False, indent=1, sort_keys=True, allow_nan=False) + "\n").encode()
