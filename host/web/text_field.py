"""A field for words that will stand on a certificate."""

from host.certificates.errors import CertificateError
from host.certificates.printable import LONGEST_NAME, printable_text


def take_text(
    typed: dict[str, str], name: str, meaning: str, errors: dict[str, str], *, longest: int = LONGEST_NAME
) -> None:
    """Put the text as a certificate will print it in the place of what was typed, or say why not.

    Parameters
    ----------
    typed : dict[str, str]
        Text of each field; what cannot be printed stays as it was typed.
    name, meaning : str
        The field, and what it is for.
    errors : dict[str, str]
        Gets the refusal; one that stands there already counts.
    longest : int
    """
    try:
        typed[name] = printable_text(typed[name], meaning, longest=longest)
    except CertificateError as error:
        errors.setdefault(name, str(error))
