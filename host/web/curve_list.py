"""Every reference curve, as a form offers it."""

from dataclasses import dataclass

from host.curve_choice import all_curves
from host.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedCurve:
    """A curve by its name, and in words."""

    name: str
    words: str


def every_curve(store: Store) -> tuple[NamedCurve, ...]:
    """Curves that come with the bench, then the shop's own."""
    return tuple(
        NamedCurve(name=curve.name, words=f"{curve.name}: {curve.title}")
        for curve in all_curves(store.curves)
    )
