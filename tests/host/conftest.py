import dataclasses
import importlib.util
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

from host.certificates.certificate import Certificate
from host.certificates.kind import Kind


def _module(file: str, folder: Path = Path(__file__).parent) -> ModuleType:
    name = f"ohmbath_{file}"
    if name not in sys.modules:
        path = folder / f"{file}.py"
        spec = importlib.util.spec_from_file_location(name, path)
        assert spec is not None and spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


@pytest.fixture(scope="session")
def module_beside() -> Callable[..., ModuleType]:
    """Loads a module that lies among the tests, by its name and folder."""
    return _module


@pytest.fixture(scope="session")
def make_certificate() -> Callable[..., Certificate]:
    """Builder of an invented certificate; keyword arguments change its fields."""
    return _module("sample_certificate").sample_certificate


@pytest.fixture(scope="session")
def sample(make_certificate: Callable[..., Certificate]) -> Certificate:
    """A simulated sender check at three temperatures."""
    return make_certificate()


@pytest.fixture(scope="session")
def of_kind(sample: Certificate) -> Callable[..., Certificate]:
    """Builder of an invented certificate of any kind; keyword arguments change its head."""

    def build(kind: Kind, **changed: object) -> Certificate:
        if kind is Kind.SENDER:
            return dataclasses.replace(sample, **changed)  # type: ignore[arg-type]
        certificate: Certificate = _module("sample_kinds").certificate_of_kind(kind, sample, **changed)
        return certificate

    return build
