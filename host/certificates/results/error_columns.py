"""The columns every kind has: error, its uncertainty, and its limit."""

from collections.abc import Sequence
from typing import Any

from host.certificates.reported import reported_texts
from host.certificates.results.results import Column, Role, texts_of


def error_columns(points: Sequence[Any], *, unit_name: str, unit: str) -> tuple[Column, ...]:
    """Error with its expanded uncertainty, and the limit where one is stated.

    Parameters
    ----------
    points : sequence
        Values with ``error_k`` or the like.
    unit_name, unit : str
        End of the field names, and unit as printed: "k" and "K".
    """
    rows = [dict(reported_texts(point)) for point in points]
    expanded_u = tuple(getattr(point, f"expanded_u_{unit_name}") for point in points)
    error = Column(
        key="error",
        name="error",
        unit=unit,
        role=Role.ERROR,
        texts=texts_of(rows, f"error_{unit_name}"),
        values=tuple(getattr(point, f"error_{unit_name}") for point in points),
        expanded_u=expanded_u,
        u_texts=texts_of(rows, f"expanded_u_{unit_name}"),
        prints_u=True,
    )
    limits = tuple(getattr(point, f"limit_{unit_name}") for point in points)
    if all(limit is None for limit in limits):
        return (error,)
    limit = Column(
        key="limit",
        name="limit",
        unit=unit,
        role=Role.LIMIT,
        texts=texts_of(rows, f"limit_{unit_name}"),
        values=limits,
    )
    return error, limit


def correction_column(error: Column) -> Column:
    """The error with the other sign, in its own characters: what is added to what is shown."""
    return Column(
        key="correction",
        name="correction",
        unit=error.unit,
        role=Role.REPEATED,
        texts=tuple(turned(text) for text in error.texts),
        values=tuple(None if value is None else -value for value in error.values),
    )


def turned(text: str) -> str:
    """A printed number with the other sign; one that is printed as nothing stays as it is."""
    if not any(digit in text for digit in "123456789"):
        return text
    return f"+{text[1:]}" if text.startswith("-") else f"-{text.lstrip('+')}"


def value_column(
    points: Sequence[Any],
    field: str,
    *,
    key: str,
    name: str,
    unit: str,
    role: Role,
    u_field: str = "",
) -> Column:
    """Values of a field; ``u_field`` names the expanded uncertainty of the error, which holds theirs."""
    rows = [dict(reported_texts(point)) for point in points]
    return Column(
        key=key,
        name=name,
        unit=unit,
        role=role,
        texts=texts_of(rows, field),
        values=tuple(getattr(point, field) for point in points),
        expanded_u=tuple(getattr(point, u_field) for point in points) if u_field else (),
        u_texts=texts_of(rows, u_field) if u_field else (),
    )


def resistance_column(points: Sequence[Any], expanded_texts: Sequence[str]) -> Column:
    """Resistance with its own expanded uncertainty, k times the standard one."""
    return Column(
        key="resistance",
        name="resistance",
        unit="Ω",
        role=Role.SHOWN,
        texts=texts_of([dict(reported_texts(point)) for point in points], "resistance_ohm"),
        values=tuple(point.resistance_ohm for point in points),
        expanded_u=tuple(point.k * point.u_resistance_ohm for point in points),
        u_texts=tuple(expanded_texts),
        prints_u=True,
    )
