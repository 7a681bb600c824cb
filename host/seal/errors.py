"""What can be wrong with keys and seals."""

from host.errors import DeskError


class SealError(DeskError):
    """Keys that are missing or damaged, or a paper that cannot be sealed; says what to do."""
