"""What a shop decides once for its desk: who it is, its clock, its scale, its rule, when things are due.

Each setting is one short text, so that a page, a command and the store all read and refuse it alike.
"""

import functools
import zoneinfo
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import tzinfo
from typing import Any

from calibration.conformity import DecisionRule
from host.certificates.errors import CertificateError
from host.certificates.printable import LONGEST_SHOP, LONGEST_TEXT, printable_text
from host.errors import DeskError
from host.shop import Shop
from host.store.instrument_kind import InstrumentKind

#: Longest interval that makes sense between two calibrations.
MOST_MONTHS = 120

SCALES = {"c": "°C first, °F beside it", "f": "°F first, °C beside it"}
RULES = {
    DecisionRule.GUARDED.value: "guarded: U counts",
    DecisionRule.SIMPLE.value: "simple: the error alone",
}
#: Whether the one who measured may authorise it; the authoriser's role is needed all the same.
OWN_WORK = {"allowed": "an authoriser may also let out their own work", "refused": "somebody else, always"}

#: Readings without a run are kept for so many days at least: so long a rig can fill up a restored desk.
LEAST_IDLE_DAYS, MOST_IDLE_DAYS = 8, 3650


class SettingError(DeskError):
    """A text that a setting cannot have.

    Attributes
    ----------
    name : str
        The setting.
    """

    def __init__(self, name: str, words: str) -> None:
        super().__init__(words)
        self.name = name


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Settings as the desk uses them.

    Attributes
    ----------
    shop_name, shop_address : str
        As printed on certificates; empty where nobody has written them down.
    time_zone : str
        IANA name; empty follows the clock of the machine.
    scale : str
        ``c`` or ``f``: which one a page leads with until its reader chooses.
    rule : DecisionRule
        What a new check proposes.
    own_work : bool
        Whether somebody with that role may authorise what they measured themselves.
    idle_readings_days : int or None
        Days after which readings that no run rests on are cleared; None keeps them for ever.
    recalibration_months : Mapping[str, int]
        Months from one calibration to the next by kind of instrument; a kind that is missing has no interval.
    """

    shop_name: str = ""
    shop_address: str = ""
    time_zone: str = ""
    scale: str = "c"
    rule: DecisionRule = DecisionRule.GUARDED
    own_work: bool = True
    idle_readings_days: int | None = None
    recalibration_months: Mapping[str, int] = field(default_factory=dict)

    @property
    def shop(self) -> Shop:
        """Who issues the paper."""
        return Shop(name=self.shop_name, address=self.shop_address)

    @property
    def zone(self) -> tzinfo | None:
        """Zone of the clock on the wall; None is the machine's own."""
        return zoneinfo.ZoneInfo(self.time_zone) if self.time_zone else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One setting, as it is asked for.

    Attributes
    ----------
    name : str
        In commands and in the store.
    label, hint : str
        On the page.
    usual : str
        Its text where nobody has set it.
    choices : Mapping[str, str]
        Texts it can have with what each means; empty where it is written freely.
    read : callable
        Value of a text; raises `SettingError`.
    """

    name: str
    label: str
    hint: str = ""
    usual: str = ""
    choices: Mapping[str, str] = field(default_factory=dict)
    read: Callable[[str], Any]


def settings_from(texts: Mapping[str, str]) -> Settings:
    """Settings of the texts that were set; the others are as usual.

    Raises
    ------
    SettingError
        If one of them cannot be read.
    """
    values = {setting.name: setting.read(texts.get(setting.name, setting.usual)) for setting in SETTINGS}
    months = {kind: values.pop(_months_name(kind)) for kind in InstrumentKind}
    return Settings(**values, recalibration_months={kind: n for kind, n in months.items() if n is not None})


def setting_of(name: str) -> Setting:
    """Setting of that name.

    Raises
    ------
    SettingError
        If there is none.
    """
    for setting in SETTINGS:
        if setting.name == name:
            return setting
    names = ", ".join(setting.name for setting in SETTINGS)
    raise SettingError(name, f"There is no setting {name!r:.40}. There are: {names}.")


def tidy_text(name: str, text: str) -> str:
    """Text of a setting as it is kept, checked.

    Raises
    ------
    SettingError
        If there is no such setting or it cannot have that text.
    """
    plain = " ".join(text.split())
    setting_of(name).read(plain)
    return plain


def _printed(name: str, longest: int) -> Callable[[str], str]:
    def read(text: str) -> str:
        try:
            return printable_text(text, name, longest=longest)
        except CertificateError as error:
            raise SettingError(name, str(error)) from error

    return read


def _chosen(name: str, choices: Mapping[str, str]) -> Callable[[str], str]:
    def read(text: str) -> str:
        if text not in choices:
            raise SettingError(name, f"{text!r:.40} is none of {', '.join(choices)}: choose one of them.")
        return text

    return read


@functools.cache
def _zone_names() -> frozenset[str]:
    return frozenset(zoneinfo.available_timezones())


def _zone_name(text: str) -> str:
    if not text:
        return ""
    # a name is looked up in the list first: as a path it could lead out of the zones' folder
    if text not in _zone_names():
        raise SettingError(
            "time_zone",
            f"{text!r:.40} is no time zone. Write its name as in Europe/Athens or America/Denver, or nothing "
            "for the clock of this machine.",
        )
    return text


def _idle_days(text: str) -> int | None:
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and LEAST_IDLE_DAYS <= int(text[:9]) <= MOST_IDLE_DAYS):
        raise SettingError(
            "idle_readings_days",
            f"Write a whole number of days from {LEAST_IDLE_DAYS} to {MOST_IDLE_DAYS}, or nothing.",
        )
    return int(text)


def _months(name: str) -> Callable[[str], int | None]:
    def read(text: str) -> int | None:
        if not text:
            return None
        if not (text.isascii() and text.isdigit() and 1 <= int(text[:9]) <= MOST_MONTHS):
            raise SettingError(
                name, f"Write a whole number of months from 1 to {MOST_MONTHS}, or nothing for no interval."
            )
        return int(text)

    return read


def _months_name(kind: str) -> str:
    return f"recalibrate_{kind}_months"


SETTINGS: tuple[Setting, ...] = (
    Setting(
        name="shop_name",
        label="Name of the shop",
        hint="Stands on every certificate and at the foot of every page.",
        read=_printed("shop_name", LONGEST_SHOP),
    ),
    Setting(
        name="shop_address",
        label="Address",
        hint="Stands on certificates below the name.",
        read=_printed("shop_address", LONGEST_TEXT),
    ),
    Setting(
        name="time_zone",
        label="Time zone",
        hint="Like Europe/Athens or America/Denver (IANA); empty follows the clock of this machine.",
        read=_zone_name,
    ),
    Setting(
        name="scale",
        label="Scale that pages begin with",
        hint="Everybody can still change it at the head of the page.",
        usual="c",
        choices=SCALES,
        read=_chosen("scale", SCALES),
    ),
    Setting(
        name="rule",
        label="How a verdict is reached",
        hint="Decision rule (ILAC-G8). Guarded: what U leaves open is not decided. Simple: near the limit "
        "wrong up to one time in two.",
        usual=DecisionRule.GUARDED.value,
        choices=RULES,
        read=lambda text: DecisionRule(_chosen("rule", RULES)(text)),
    ),
    Setting(
        name="own_work",
        label="Who authorises a certificate",
        hint="One with the authoriser's role; the paper says whether it was who measured. At a desk without "
        "accounts nobody is known: it issues at once and leaves a line to sign on.",
        usual="allowed",
        choices=OWN_WORK,
        read=lambda text: _chosen("own_work", OWN_WORK)(text) == "allowed",
    ),
    Setting(
        name="idle_readings_days",
        label="Days that readings without a run are kept",
        hint="Empty keeps everything. What a run rests on is always kept; what is cleared is said in the "
        "list of who did what.",
        read=_idle_days,
    ),
    *(
        Setting(
            name=_months_name(kind),
            label=f"Months until the {InstrumentKind(kind).words} is due again",
            hint="Counts where its certificate names no due date. Empty: no interval.",
            read=_months(_months_name(kind)),
        )
        for kind in InstrumentKind
    ),
)
