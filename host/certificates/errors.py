"""What can be wrong with a certificate."""

from host.errors import DeskError


class CertificateError(DeskError, ValueError):
    """A certificate that cannot be printed or read; the message names the field and what to do.

    Attributes
    ----------
    field : str
        Path of the field: ``item``, ``points[2].expanded_u_k``.
    """

    def __init__(self, field: str, message: str) -> None:
        super().__init__(f"{field}: {message}")
        self.field = field
