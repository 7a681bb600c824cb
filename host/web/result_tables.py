"""The tables of a certificate of any kind, as its paper has them, for a page."""

from typing import Any

from host.certificates.certificate import Certificate
from host.certificates.paper_table import table_data
from host.certificates.results.by_kind import results_of


def result_tables(certificate: Certificate) -> list[dict[str, Any]]:
    """Columns of words and of numbers in the characters of the paper, and verdicts, table by table."""
    return [table_data(table) for table in results_of(certificate).tables]
