"""The reference curve a person asks for: by name, or by a file of their own."""

from pathlib import Path

from calibration.curves import ReferenceCurve, curve_from_toml, load_curve
from calibration.errors import CurveError

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
