"""What the desk keeps: readings, runs, certificates, register, orders."""

from host.store.store import Store, open_store

__all__ = ["Store", "open_store"]
