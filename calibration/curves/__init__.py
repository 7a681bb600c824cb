"""The reference curves of the bench, one TOML file each, its published source inside."""

from importlib import resources

from calibration.curves.curve_file import curve_from_toml, hash_of
from calibration.curves.reference_curve import CurveRow, ReferenceCurve
from calibration.errors import CurveError

__all__ = [
    "CurveError",
    "CurveRow",
    "ReferenceCurve",
    "curve_from_toml",
    "curve_names",
    "curve_text",
    "hash_of",
    "load_curve",
]

_SUFFIX = ".toml"


def curve_names() -> tuple[str, ...]:
    """Names of the curves that come with the bench, sorted."""
    files = (entry.name for entry in resources.files(__name__).iterdir())
    return tuple(sorted(name.removesuffix(_SUFFIX) for name in files if name.endswith(_SUFFIX)))


def curve_text(name: str) -> str:
    """TOML of a curve that comes with the bench, by its name.

    Raises
    ------
    CurveError
        If there is none of that name.
    """
    if name not in curve_names():
        raise CurveError(f"No curve is named {name!r}. `ohmbath curves` lists those there are.")
    return (resources.files(__name__) / f"{name}{_SUFFIX}").read_text(encoding="utf-8")


def load_curve(name: str) -> ReferenceCurve:
    """Curve that comes with the bench, by its name.

    Raises
    ------
    CurveError
        If there is none of that name.
    """
    return curve_from_toml(curve_text(name), name=name)
