"""Whether two sets of canonical data say the same: the reported digits exactly, the numbers to 1e-9."""

import json
import math
from collections.abc import Collection
from decimal import Decimal
from typing import Any

from calibration.rounding import rounded_text
from host.certificates.canonical_version_1 import version_2_of

#: Largest difference that other versions of the libraries may make, relative; for a difference of
#: temperatures or a resistance also in its unit, since it may be near zero. [1], [K], [Ω]
TOLERANCE = 1e-9
_IN_ITS_UNIT = ("_k", "_c", "_ohm")
#: Limits are no result. They were rounded to the places of U once; now they stand with their own digits.
_REQUIREMENTS = frozenset({"limit_k", "limits_k", "limit_ohm", "allowance_k"})
#: What two renderings of one result need not share.
NOT_OF_THE_RESULT = frozenset({"software", "version", "format"})


def first_difference(before: bytes, after: bytes, *, without: Collection[str] = ()) -> str | None:
    """Where data made anew differ from data as they were, in words; None where they say the same.

    What only the later data have is no difference: a later version may say more.

    Parameters
    ----------
    before, after : bytes
        Canonical JSON, of any version that is known.
    without : collection of str
        Names of the head that are not compared, beside the software: ``{"issued"}``.

    Raises
    ------
    ValueError, KeyError
        If one of them is no certificate.
    """
    left_out = NOT_OF_THE_RESULT | set(without)
    return _difference(
        {name: one for name, one in _read(before).items() if name not in left_out}, _read(after), ""
    )


def _read(data: bytes) -> dict[str, Any]:
    read: dict[str, Any] = json.loads(data)
    return version_2_of(read) if read["version"] == 1 else read


def _difference(before: Any, after: Any, path: str) -> str | None:
    if type(before) is not type(after):
        return f"{path}: {_short(before)} is now {_short(after)}"
    if isinstance(before, dict):
        if set(before) == {"reported", "full"}:
            return _of_number(before, after, path)
        return _of_parts(before, after, path)
    if isinstance(before, list):
        if len(before) != len(after):
            return f"{path}: {len(before)} entries are now {len(after)}"
        pairs = enumerate(zip(before, after, strict=True))
        return _first(_difference(one, other, f"{path}[{at}]") for at, (one, other) in pairs)
    return None if before == after else f"{path}: {_short(before)} is now {_short(after)}"


def _of_parts(before: dict[str, Any], after: dict[str, Any], path: str) -> str | None:
    for name, value in before.items():
        place = f"{path}.{name}".lstrip(".")
        if name not in after:
            return f"{place}: {_short(value)} is gone"
        found = _difference(value, after[name], place)
        if found is not None:
            return found
    return None


def _of_number(before: dict[str, str], after: dict[str, str], path: str) -> str | None:
    name = path.rpartition(".")[2].partition("[")[0]
    if before["reported"] != after.get("reported") and not (
        name in _REQUIREMENTS and _is_cut_short(before["reported"], after)
    ):
        return f"{path}: {before['reported']} is now {after.get('reported')}"
    in_its_unit = name.endswith(_IN_ITS_UNIT)
    near = math.isclose(
        float(before["full"]),
        float(after["full"]),
        rel_tol=TOLERANCE,
        abs_tol=TOLERANCE if in_its_unit else 0.0,
    )
    return None if near else f"{path}: {before['full']} is now {after['full']}, in full"


def _is_cut_short(reported: str, after: dict[str, str]) -> bool:
    """Whether the digits before are those of now, rounded sooner."""
    places = -int(Decimal(reported).as_tuple().exponent)
    return rounded_text(float(after["full"]), places) == reported.removeprefix("+")


def _first(differences: Any) -> str | None:
    return next((one for one in differences if one is not None), None)


def _short(value: Any) -> str:
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 60 else f"{text[:59]}…"
