"""A shop's keys, a paper with its seal, and a forger's keys."""

import datetime
from pathlib import Path

import pytest

from host.certificates.pdf import render_pdf
from host.seal import key_ring
from host.seal.key_ring import KeyRing
from host.seal.sealing import sealed

AT = datetime.datetime(2026, 11, 25, 12, 0, tzinfo=datetime.UTC)
SHOP = "Saltmarsh Lane Motor Workshop"


@pytest.fixture(scope="session")
def unsealed(make_certificate) -> bytes:
    """Paper of a sender that is out of tolerance, so that it is worth a forger's while."""
    return render_pdf(make_certificate(series_ohm=60.0))


@pytest.fixture(scope="session")
def ring(tmp_path_factory) -> KeyRing:
    made = KeyRing(tmp_path_factory.mktemp("shop") / "keys")
    made.make(SHOP)
    return made


@pytest.fixture(scope="session")
def paper(unsealed, ring) -> bytes:
    return sealed(unsealed, ring.signing_key(), shop=SHOP, at=AT)


@pytest.fixture(scope="session")
def root(ring):
    return ring.root().public_key()


@pytest.fixture
def forger(tmp_path: Path) -> KeyRing:
    made = KeyRing(tmp_path / "forged")
    key_ring.new_private_key()  # not the shop's own
    key_ring.new_private_key()
    made.make(SHOP)
    return made
