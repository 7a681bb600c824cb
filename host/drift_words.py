"""What the certificates of an instrument show, in sentences."""

from dataclasses import dataclass
from datetime import date

from calibration.drift import DAYS_PER_YEAR, Drift
from calibration.rounding import decimals_of, rounded_text
from host.instrument_history import Track


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftWords:
    """A drift, said.

    Attributes
    ----------
    per_year : str
        Drift per year with its uncertainty.
    today : str
        Where it stands today against the certificate in force.
    is_beyond_its_certificate : bool
        Whether it has gone further than its certificate claims to know.
    remarks : tuple[str, ...]
        What limits these words.
    """

    per_year: str
    today: str
    is_beyond_its_certificate: bool
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """What the values of a track were taken from, as sentences name it.

    Attributes
    ----------
    one, some : str
        "certificate", "certificates".
    advice : str
        What to do where it has moved further than that claims to know.
    """

    one: str
    some: str
    advice: str


CERTIFICATES = Source(one="certificate", some="certificates", advice="have it calibrated")
CHECKS = Source(one="check", some="checks", advice="check it anew")


def drift_words(track: Track, today: date, *, of: Source = CERTIFICATES) -> DriftWords | None:
    """Words of a track on a day; None where there are not two certificates of different days."""
    drift = track.drift
    if drift is None:
        return None
    in_force = drift.values[-1]
    moved, u = drift.value_on(today) - in_force.value, drift.expanded_u_on(today)
    beyond = abs(moved) > in_force.expanded_u
    years = max((today - in_force.on).days, 0) / DAYS_PER_YEAR
    return DriftWords(
        per_year=f"{signed(drift.per_year, drift.expanded_u_per_year)} ± "
        f"{plain(drift.expanded_u_per_year)} {track.unit} a year: "
        f"{'it drifts' if drift.is_seen else 'no drift is seen'}.",
        today=f"Today, {years:.1f} years after its {of.one}, the line is {signed(moved, u)} {track.unit} "
        f"from it, known to ± {plain(u)} {track.unit}; the {of.one} said "
        f"± {plain(in_force.expanded_u)} {track.unit}. {_judged(beyond, u / in_force.expanded_u, of)}",
        is_beyond_its_certificate=beyond,
        remarks=_remarks(drift, today, of),
    )


def signed(value: float, expanded_u: float) -> str:
    """A value with its sign, rounded to its uncertainty."""
    text = rounded_text(value, decimals_of(expanded_u))
    if text.startswith("-"):
        return "\u2212" + text[1:]
    return text if float(text) == 0.0 else f"+{text}"


def plain(expanded_u: float) -> str:
    """An uncertainty with two digits."""
    return rounded_text(expanded_u, decimals_of(expanded_u))


def _judged(beyond: bool, ratio: float, of: Source) -> str:
    if beyond:
        return f"It has moved further than its {of.one} claims to know: {of.advice}."
    if ratio > 1.05:
        return f"It is known {ratio:.1f} times less well than on the day of its {of.one}."
    return f"It is known as well as on the day of its {of.one}."


def _remarks(drift: Drift, today: date, of: Source) -> tuple[str, ...]:
    remarks = []
    if drift.scatters:
        remarks.append(
            f"The {of.some} scatter by more than they claim: one of them is wrong, or it jumped. The "
            f"uncertainties here are {drift.line.birge_ratio:.1f} times larger for it."
        )
    if drift.line.degrees_of_freedom < 1:
        remarks.append(f"Two {of.some} always lie on a line: a third one will test it.")
    if drift.is_far_on(today):
        remarks.append(f"Today is further on than the {of.some} reach back: the line is a guess there.")
    return tuple(remarks)
