"""Reference curves of the shop's own: from a service manual, kept by their content."""

import re
import time
from collections.abc import Callable
from dataclasses import dataclass

from sqlalchemy import Row, func, select

from calibration.curves import ReferenceCurve, curve_from_toml, curve_names, hash_of
from calibration.errors import CurveError
from host.certificates.errors import CertificateError
from host.certificates.printable import refuse_unprintable
from host.store import schema
from host.store.engine import Database

#: Longest name of a curve.
LONGEST_NAME = 40
#: Longest words of a curve, by what they say.
LONGEST_WORDS = {"title": 160, "source": 400, "tolerance": 160, "wiring": 160, "note": 1200}
_NAME = re.compile(r"[a-z0-9](?:[a-z0-9-]*[a-z0-9])?")


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnCurve:
    """One curve of the shop's own.

    Attributes
    ----------
    name : str
    toml : str
        Its text, in the form of `calibration.curves.curve_file`.
    sha256 : str
        Digest of the text, by which a result cites it.
    added_by : str
        Who added it; may be empty.
    added_utc_s : float
        When. [s]
    """

    name: str
    toml: str
    sha256: str
    added_by: str
    added_utc_s: float

    @property
    def curve(self) -> ReferenceCurve:
        """The curve itself."""
        return curve_from_toml(self.toml, name=self.name)


class OwnCurves:
    """The shop's own curves; one that is written anew is a new entry, and the newest of a name counts."""

    def __init__(self, database: Database, now: Callable[[], float] = time.time) -> None:
        self._database = database
        self._now = now

    def add(self, name: str, toml_text: str, *, added_by: str = "") -> OwnCurve:
        """Add a curve; the same content under the same name again changes nothing.

        Raises
        ------
        CurveError
            If the text is no curve, its words cannot be printed, or the name cannot be used; says why.
        """
        refuse_name(name)
        _refuse_unprintable_words(curve_from_toml(toml_text, name=name))
        table, sha256 = schema.curves, hash_of(toml_text)
        with self._database.writing() as connection:
            newest = connection.execute(
                select(table).where(table.c.name == name).order_by(table.c.id.desc()).limit(1)
            ).first()
            if newest is None or newest.sha256 != sha256:
                connection.execute(
                    table.insert().values(
                        name=name,
                        toml=toml_text,
                        sha256=sha256,
                        added_by=added_by,
                        added_utc_s=self._now(),
                    )
                )
        kept = self.get(name)
        assert kept is not None
        return kept

    def get(self, name: str) -> OwnCurve | None:
        """Newest curve of a name, None where there is none."""
        table = schema.curves
        query = select(table).where(table.c.name == name).order_by(table.c.id.desc()).limit(1)
        with self._database.reading() as connection:
            row = connection.execute(query).first()
        return None if row is None else _own_curve(row)

    def by_hash(self, sha256: str) -> OwnCurve | None:
        """Curve of that very content, None where there is none."""
        table = schema.curves
        query = select(table).where(table.c.sha256 == sha256).order_by(table.c.id.desc()).limit(1)
        with self._database.reading() as connection:
            row = connection.execute(query).first()
        return None if row is None else _own_curve(row)

    def all(self) -> list[OwnCurve]:
        """Newest curve of each name, by name."""
        table = schema.curves
        newest = select(func.max(table.c.id)).group_by(table.c.name)
        query = select(table).where(table.c.id.in_(newest)).order_by(table.c.name)
        with self._database.reading() as connection:
            return [_own_curve(row) for row in connection.execute(query)]


def refuse_name(name: str) -> None:
    """Refuse a name that cannot be used for a curve of one's own.

    Raises
    ------
    CurveError
        If it is too long, holds other letters, or belongs to a curve that comes with the bench.
    """
    if not _NAME.fullmatch(name) or len(name) > LONGEST_NAME:
        raise CurveError(
            f"{name!r:.60} is no name for a curve: use small letters, digits and hyphens, "
            f"{LONGEST_NAME} at most, for example van-manual-2004."
        )
    if name in curve_names():
        raise CurveError(f"{name} is a curve that comes with the bench. Choose another name for yours.")


def _refuse_unprintable_words(curve: ReferenceCurve) -> None:
    """Its words stand on every certificate that is judged by it."""
    for name, longest in LONGEST_WORDS.items():
        try:
            refuse_unprintable(getattr(curve, name), name, longest=longest)
        except CertificateError as error:
            raise CurveError(f"Curve {curve.name}: {error}") from error


def _own_curve(row: Row[tuple[object, ...]]) -> OwnCurve:
    return OwnCurve(
        name=row.name,
        toml=row.toml,
        sha256=row.sha256,
        added_by=row.added_by,
        added_utc_s=row.added_utc_s,
    )
