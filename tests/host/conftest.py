import dataclasses
import importlib.util
import shutil
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from host.broker import EmbeddedBroker, free_port
from host.certificates.certificate import Certificate
from host.certificates.kind import Kind
from host.data_folder import DataFolder
from host.desk import Desk


def _module(file: str) -> ModuleType:
    name = f"ohmbath_{file}"
    if name not in sys.modules:
        path = Path(__file__).with_name(f"{file}.py")
        spec = importlib.util.spec_from_file_location(name, path)
        assert spec is not None and spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


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


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    """Debian's chromium, without a screen."""
    from playwright.sync_api import sync_playwright  # whoever asks no browser need not load it

    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        yield opened
        opened.close()


@pytest.fixture
def devices(chromium: Any) -> Iterator[Callable[..., Any]]:
    """Opens windows of a size at a desk's address; nothing may have gone wrong in any.

    Ask for it after whatever serves the pages: the windows are closed before the server ends.
    """
    device = _module("device")
    made: list[Any] = []

    def begin(url: str, size: str = "phone", *, expected: tuple[str, ...] = (), **options: Any) -> Any:
        width, height = device.SIZES[size]
        context = chromium.new_context(viewport={"width": width, "height": height}, **options)
        context.set_default_timeout(device.PATIENCE_S * 1000.0)
        made.append(device.Device(context=context, url=url, expected=expected))
        return made[-1]

    yield begin
    for one in made:
        one.context.close()
        assert one.wrong == []


@pytest.fixture
def broker_desk(tmp_path: Path) -> Iterator[Desk]:
    """A desk with a broker, as ``ohmbath serve`` puts it together."""
    folder = DataFolder(tmp_path)
    broker = EmbeddedBroker(free_port(), folder=folder.broker)
    broker.start()
    made = Desk(folder.lock(), broker_host="127.0.0.1", broker_port=broker.port)
    made.start()
    yield made
    made.stop()
    broker.stop()
