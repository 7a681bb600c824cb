import importlib.util
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

from host.certificates.certificate import Certificate


def _sample_module() -> ModuleType:
    name = "ohmbath_sample_certificate"
    if name not in sys.modules:
        path = Path(__file__).with_name("sample_certificate.py")
        spec = importlib.util.spec_from_file_location(name, path)
        assert spec is not None and spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


@pytest.fixture(scope="session")
def make_certificate() -> Callable[..., Certificate]:
    """Builder of an invented certificate; keyword arguments change its fields."""
    return _sample_module().sample_certificate


@pytest.fixture(scope="session")
def sample(make_certificate: Callable[..., Certificate]) -> Certificate:
    """A simulated sender check at three temperatures."""
    return make_certificate()
