"""Numbers without gaps, counted in the transaction that uses them."""

from sqlalchemy import Connection, select, update

from host.store.schema import counters


def count_up(connection: Connection, name: str) -> int:
    """Take the next number of ``name``; it is given back if the transaction is.

    The row is locked by the update, so two writers cannot take the same number. A
    database sequence would not do: it leaves a hole where a transaction fails.
    """
    taken = connection.execute(
        update(counters).where(counters.c.name == name).values(value=counters.c.value + 1)
    )
    if taken.rowcount == 0:
        connection.execute(counters.insert().values(name=name, value=1))
    return int(connection.execute(select(counters.c.value).where(counters.c.name == name)).scalar_one())


def peek(connection: Connection, name: str) -> int:
    """Return the number that `count_up` would give next."""
    value = connection.execute(select(counters.c.value).where(counters.c.name == name)).scalar_one_or_none()
    return 1 + (0 if value is None else int(value))
