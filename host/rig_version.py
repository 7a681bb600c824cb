"""Whether a rig's program and this desk's are of one version, in words."""

import re

_NUMBERS = re.compile(r"\d+")


def version_words(rig: str, desk: str) -> str | None:
    """What to do about a rig of another version; None where both are of one.

    They understand each other as long as the contract is one; what differs is what was mended.
    """
    if rig == desk:
        return None
    rig_numbers, desk_numbers = _numbers(rig), _numbers(desk)
    if rig_numbers < desk_numbers:
        return f"Its rig runs version {rig:.20}, older than this desk's {desk}: upgrade the rig."
    if rig_numbers > desk_numbers:
        return f"Its rig runs version {rig:.20}, newer than this desk's {desk}: upgrade the desk first."
    return f"Its rig runs version {rig:.20}, this desk {desk}: bring both to one version."


def _numbers(version: str) -> tuple[int, ...]:
    numbers = [int(found) for found in _NUMBERS.findall(version[:40])]
    while numbers and numbers[-1] == 0:
        numbers.pop()
    return tuple(numbers)
