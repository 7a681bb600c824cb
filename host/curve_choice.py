"""The reference curve a person asks for: from the library, from the store, or from a file of their own."""

from pathlib import Path

from calibration.curves import ReferenceCurve, curve_from_toml, curve_names, curve_text, load_curve
from calibration.errors import CurveError
from host.store.own_curves import OwnCurves

_LONGEST_FILE_BYTES = 200_000


def chosen_curve(name_or_path: str) -> ReferenceCurve:
    """Curve that comes with the bench, or one from a TOML file.

    Raises
    ------
    CurveError
        If there is none of that name, or the file is no curve; the message names its row.
    """
    is_file = name_or_path.endswith(".toml") or "/" in name_or_path or "\\" in name_or_path
    return _curve_of_file(Path(name_or_path)) if is_file else load_curve(name_or_path)


def text_of_curve(name: str, own: OwnCurves) -> str:
    """TOML of a curve by its name: one that comes with the bench, else the shop's own.

    A run keeps this text by value, so that it is judged by the same curve whatever is written later.

    Raises
    ------
    CurveError
        If there is none of that name.
    """
    if name in curve_names():
        return curve_text(name)
    kept = own.get(name)
    if kept is None:
        raise CurveError(f"No curve is named {name!r:.60}, neither here nor with the bench. Choose another.")
    return kept.toml


def curve_by_name(name: str, own: OwnCurves) -> ReferenceCurve:
    """Curve by its name: one that comes with the bench, else the shop's own.

    Raises
    ------
    CurveError
        If there is none of that name.
    """
    return curve_from_toml(text_of_curve(name, own), name=name)


def all_curves(own: OwnCurves) -> tuple[ReferenceCurve, ...]:
    """Curves that come with the bench, then the shop's own; each by name."""
    return (*(load_curve(name) for name in curve_names()), *(kept.curve for kept in own.all()))


def _curve_of_file(path: Path) -> ReferenceCurve:
    try:
        with path.open("rb") as file:
            data = file.read(_LONGEST_FILE_BYTES + 1)
    except OSError as error:
        raise CurveError(f"{path}: cannot be read ({error.strerror}). Check the name.") from error
    if len(data) > _LONGEST_FILE_BYTES:
        raise CurveError(f"{path}: is too large for a curve. Name the TOML file.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise CurveError(f"{path}: is not UTF-8 text. Save it as UTF-8.") from error
    try:
        return curve_from_toml(text, name=path.stem)
    except CurveError as error:
        raise CurveError(f"{path}: {error}") from error
