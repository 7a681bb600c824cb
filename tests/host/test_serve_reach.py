"""From where a desk lets itself be reached before, and after, somebody has an account."""

import subprocess
import sys

import pytest

from host.data_folder import DataFolder
from host.people.role import Role
from host.serving import check_reach, in_clear_words
from host.store import open_store
from host.web.reach import Reach

BEYOND = (Reach(listen="0.0.0.0"), Reach(listen="192.168.1.20"), Reach(listen="::"), Reach(behind_proxy=True))


@pytest.fixture
def store(tmp_path):
    opened = open_store(DataFolder(tmp_path))
    yield opened
    opened.close()


@pytest.mark.slow
@pytest.mark.parametrize("words", [("--listen", "0.0.0.0"), ("--behind-proxy",)])
def test_a_desk_without_accounts_does_not_serve_beyond_its_machine(tmp_path, words):
    serve = [
        sys.executable,
        "-c",
        "from host.cli import main; main()",
        "serve",
        "--data",
        str(tmp_path),
        "--port",
        "0",
        *words,
    ]
    ended = subprocess.run(serve, capture_output=True, text=True, timeout=60.0, check=False)
    assert ended.returncode == 2
    (line,) = ended.stderr.splitlines()
    assert "ohmbath person add" in line and "TLS" in line and "hardware/systemd/pages.md" in line


@pytest.mark.slow
def test_nobody_comes_in_past_the_proxy(tmp_path):
    serve = [sys.executable, "-c", "from host.cli import main; main()", "serve", "--data", str(tmp_path)]
    words = ["--behind-proxy", "--listen", "0.0.0.0"]
    ended = subprocess.run([*serve, *words], capture_output=True, text=True, timeout=60.0, check=False)
    assert ended.returncode == 2
    assert "--listen 127.0.0.1" in ended.stderr


@pytest.mark.parametrize("listen", ["127.0.0.1", "localhost", "::1", "127.0.0.9"])
def test_its_own_machine_needs_no_account(store, listen):
    check_reach(store, Reach(listen=listen))


@pytest.mark.parametrize("reach", BEYOND)
def test_with_an_account_it_may_be_reached(store, reach):
    store.people.add("Ida Marsh", frozenset({Role.AUTHORISER}))
    check_reach(store, reach)


@pytest.mark.parametrize(
    ("reach", "in_clear"),
    [
        (Reach(), False),
        (Reach(behind_proxy=True), False),
        (Reach(listen="0.0.0.0"), True),
        (Reach(listen="192.168.1.20"), True),
    ],
)
def test_passwords_in_clear_are_said(reach, in_clear):
    words = in_clear_words(reach)
    assert (words is not None) is in_clear
    assert words is None or "in clear" in words
