"""Whose name stands under what is measured: who is signed in, else what was typed."""

from host.web.door import the_visitor


def operator_of(typed: str) -> str:
    """Name of the operator: nobody signs for another person."""
    return the_visitor().name or typed
