"""What people do at a desk that is written down: who did what."""

from dataclasses import dataclass
from enum import StrEnum


class Deed(StrEnum):
    """One kind of deed; its value is what the list shows."""

    SIGNED_IN = "signed in"
    SIGN_IN_REFUSED = "gave a wrong password"
    LOCKED_OUT = "has to wait after wrong passwords"
    SIGNED_OUT = "signed out"
    SCREEN_PINNED = "pinned a screen"
    SCREEN_UNPINNED = "unpinned a screen"
    ACCOUNT_ADDED = "added an account"
    ACCOUNT_DISABLED = "disabled an account"
    ACCOUNT_ENABLED = "enabled an account"
    ROLES_CHANGED = "changed roles"
    PASSWORD_CHANGED = "changed a password"
    RUN_STARTED = "started a run"
    RUN_PRESSED = "pressed the button of a run"
    RUN_HELPED = "let simulated hands help a run"
    CERTIFICATE_ISSUED = "issued a certificate"
    CURVE_CHOSEN = "chose the curve of a run"
    RUN_STOPPED = "stopped a run"
    RUN_FINISHED = "finished a record"
    CERTIFICATE_AUTHORISED = "authorised a certificate"
    DRAFT_SENT_BACK = "sent a draft back"
    CERTIFICATE_WITHDRAWN = "withdrew a certificate"
    CERTIFICATE_AMENDED = "amended a certificate"
    READINGS_CLEARED = "cleared idle readings"
    BENCH_STARTED = "started the simulated bench"
    BENCH_STOPPED = "stopped the simulated bench"
    ROOM_STARTED = "started stations of the simulated room"
    ROOM_STOPPED = "stopped the simulated room"
    STATION_ADDED = "added a station"
    SETTINGS_CHANGED = "changed the settings"
    REGISTER_CHANGED = "changed the register"
    PHOTO_ADDED = "added a photo"
    CURVE_ADDED = "added a curve"
    EXERCISE_CHANGED = "worked on an exercise"
    PLANT_SHOWN = "looked at what was planted"
    EXERCISE_ANSWERED = "answered an exercise"
    ROSTER_READ = "read a roster"


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditEntry:
    """One line of the audit list.

    Attributes
    ----------
    number : int
    utc_s : float
        [s]
    person : str
        Empty where nobody had signed in: an open desk, a command on the machine, an unknown name.
    role : str
        Roles under which it was done.
    deed : str
    subject : str
        On what, or from where.
    """

    number: int
    utc_s: float
    person: str
    role: str
    deed: str
    subject: str
