"""Results as a table: one point of one certificate a row, reported digits and full numbers."""

import json
from collections.abc import Iterator, Mapping
from decimal import Decimal, InvalidOperation
from typing import Any

from host.certificates.canonical import canonical_json, certificate_from_canonical
from host.store import Store
from host.tables.table import Column, Table, iso_time

_UNITS = {
    "_c": "°C",
    "_k": "K",
    "_ohm": "Ω",
    "_percent": "%",
    "_um": "µm",
    "_m": "m",
    "_mm": "mm",
    "_s": "s",
    "_v": "V",
}
_HEAD = (
    "certificate",
    "state",
    "kind",
    "run",
    "issued",
    "measured",
    "item",
    "customer",
    "operator",
    "authorised_by",
    "method",
    "verdict",
    "simulated",
    "point",
    "point_verdict",
)


def results_table(store: Store) -> Table:
    """Table of every certificate's points, the oldest certificate first."""
    standings = store.certificates.standings()
    zone = store.settings.read().zone
    whole = []
    for one in store.certificates.all():
        certificate = certificate_from_canonical(one.files.canonical_json)
        data = json.loads(canonical_json(certificate))  # also what an older version wrote, in today's form
        head = [
            one.number,
            standings[one.number].words,
            certificate.kind.value,
            one.run,
            iso_time(one.issued_utc_s, zone),
            certificate.measured,
            certificate.item,
            certificate.customer,
            certificate.operator,
            certificate.authorised_by,
            certificate.method,
            certificate.verdict_word,
            certificate.simulated,
        ]
        whole.append((head, data["body"].get("points", [])))
    names = list(dict.fromkeys(name for _, points in whole for point in points for name in _numbers(point)))
    columns = [Column(name=name) for name in _HEAD]
    for name in names:
        columns += [
            Column(name=name, unit=_unit(name)),
            Column(name=f"{name}_full", unit=_unit(name)),
        ]
    return Table(name="results", columns=columns, rows=_rows(whole, names))


def _rows(whole: list[tuple[list[Any], list[Any]]], names: list[str]) -> Iterator[list[Any]]:
    for head, points in whole:
        for number, point in enumerate(points, start=1):
            numbers = _numbers(point)
            row = [*head, number, point.get("verdict")]
            for name in names:
                row += numbers.get(name, (None, None))
            yield row


def _numbers(point: Mapping[str, Any]) -> dict[str, tuple[Decimal | str, float]]:
    """Reported and full number of each quantity of a point."""
    return {
        name: (_reported(value["reported"]), float(value["full"]))
        for name, value in point.items()
        if isinstance(value, Mapping) and set(value) == {"reported", "full"}
    }


def _reported(text: str) -> Decimal | str:
    """Digits as printed, its zeros too; words where the paper has words, like "< 0.1 %"."""
    try:
        return Decimal(text)
    except InvalidOperation:
        return text


def _unit(name: str) -> str:
    return next((unit for suffix, unit in _UNITS.items() if name.endswith(suffix)), "")
