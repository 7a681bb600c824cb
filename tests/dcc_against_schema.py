"""Hold the XML of a certificate of every kind against the schema of such certificates, by hand.

The schema is other people's and no part of the product: fetch DCC 3.3.0 and D-SI 2.2.0 first, then

    python tests/dcc_against_schema.py dcc.xsd
"""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

from lxml import etree

from host.certificates.dcc import dcc_xml
from host.certificates.kind import Kind


def main(schema_path: str) -> int:
    """Number of kinds that the schema refuses."""
    schema = etree.XMLSchema(etree.parse(schema_path))
    sample = _module("sample_certificate").sample_certificate()
    of_kind = _module("sample_kinds").certificate_of_kind
    refused = 0
    for kind in Kind:
        certificate = sample if kind is Kind.SENDER else of_kind(kind, sample)
        is_valid = schema.validate(etree.fromstring(dcc_xml(certificate)))
        refused += not is_valid
        sys.stdout.write(f"{kind.value}: {'valid' if is_valid else schema.error_log.last_error}\n")
    return refused


def _module(file: str) -> ModuleType:
    path = Path(__file__).with_name("host") / f"{file}.py"
    spec = importlib.util.spec_from_file_location(file, path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
