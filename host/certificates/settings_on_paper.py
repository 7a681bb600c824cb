"""Whether what a run is begun with can stand on its certificate, asked before the first reading is taken.

Every text that enters is held against the fonts of the certificate at its door. An older version let more in:
such an entry of the register or such a curve is refused here, with what to mend, and not at the last step.
"""

import tomllib
from collections.abc import Iterator, Mapping
from typing import Any

from host.certificates.errors import CertificateError
from host.certificates.printable import longest_of, printable_text
from host.errors import DeskError

#: Whole curves by value; of their text a certificate prints these lines.
_CURVES = ("curve_text", "curve_toml")
_OF_A_CURVE = ("title", "source", "tolerance")


def refuse_unprintable_settings(settings: Mapping[str, Any]) -> None:
    """Refuse settings of a run that hold a text which no certificate can print.

    Raises
    ------
    DeskError
        If one does; names the instrument, the curve or the field, and what to do.
    """
    for text, field, what_to_do in _texts(settings, "", ""):
        try:
            printable_text(text, field, longest=longest_of(field) or len(text))
        except CertificateError as error:
            raise DeskError(f"{error}{what_to_do}") from error


def _texts(value: Any, field: str, what_to_do: str) -> Iterator[tuple[str, str, str]]:
    """Each text with the field it stands in, and what to do where it cannot be printed."""
    if isinstance(value, str):
        if field in _CURVES:
            yield from _curve_texts(value)
        else:
            yield value, field, what_to_do
    elif isinstance(value, Mapping):
        if "serial" in value and "kind" in value:
            what_to_do = (
                f" It stands in the register’s entry of {value['kind']} {value['serial']}: add that "
                "certificate to the register once more, written in other letters, then start again."
            )
        for name, one in value.items():
            yield from _texts(one, str(name), what_to_do)
    elif isinstance(value, list | tuple):
        for one in value:
            yield from _texts(one, field, what_to_do)


def _curve_texts(toml: str) -> Iterator[tuple[str, str, str]]:
    content = tomllib.loads(toml) if toml else {}
    what_to_do = (
        f" It stands in the curve “{content.get('title', '')}”: add the curve once more, written in other "
        "letters, then start again."
    )
    for name in _OF_A_CURVE:
        yield str(content.get(name, "")), name, what_to_do
