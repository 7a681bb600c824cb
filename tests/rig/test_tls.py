"""A rig and its broker with TLS and passwords: the right ones speak, the others do not, and are told why."""

import shutil
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from calibration.contract.topics import topic
from rig.connection import BrokerAddress, BrokerConnection, ConnectionState, Message

pytestmark = [pytest.mark.broker, pytest.mark.slow]

UNITS = Path(__file__).parents[2] / "hardware" / "systemd"
PASSWORDS = {"bench-1": "one", "bench-2": "two", "desk": "three"}
DEADLINE_S = 20.0


@dataclass
class SafeBroker:
    """A mosquitto with TLS, passwords and the access list that the project ships."""

    port: int
    ca_pem: str
    other_ca_pem: str

    def address(self, user: str, **changes: Any) -> BrokerAddress:
        return BrokerAddress(
            **{
                "host": "localhost",
                "port": self.port,
                "username": user,
                "password": PASSWORDS[user],
                "ca_pem": self.ca_pem,
                **changes,
            }
        )


def _openssl(folder: Path, *arguments: str) -> None:
    subprocess.run(["openssl", *arguments], cwd=folder, check=True, capture_output=True)


def _authority(folder: Path, name: str) -> str:
    _openssl(
        folder, "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", f"/CN={name}",
        "-keyout", f"{name}.key", "-out", f"{name}.crt",
    )  # fmt: skip
    return (folder / f"{name}.crt").read_text("ascii")


@pytest.fixture(scope="module")
def safe_broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SafeBroker]:
    # by path: other conftest modules bear the same name
    import socket

    folder = tmp_path_factory.mktemp("tls")
    ca_pem, other_ca_pem = _authority(folder, "ca"), _authority(folder, "other")
    (folder / "names").write_text("subjectAltName=DNS:localhost")
    _openssl(
        folder, "req", "-newkey", "rsa:2048", "-nodes", "-subj", "/CN=localhost", "-keyout", "broker.key",
        "-out", "broker.csr",
    )  # fmt: skip
    _openssl(
        folder, "x509", "-req", "-in", "broker.csr", "-CA", "ca.crt", "-CAkey", "ca.key", "-CAcreateserial",
        "-days", "2", "-extfile", "names", "-out", "broker.crt",
    )  # fmt: skip
    passwords = folder / "passwords"
    passwords.touch(mode=0o600)
    for user, password in PASSWORDS.items():
        subprocess.run(
            ["mosquitto_passwd", "-b", str(passwords), user, password], check=True, capture_output=True
        )
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    text = (UNITS / "broker.conf").read_text("utf-8")
    for shipped, here in (
        ("/etc/mosquitto/passwords", str(passwords)),
        ("/etc/mosquitto/access.acl", str(shutil.copy(UNITS / "access.acl", folder))),
        ("/etc/mosquitto/certs/", f"{folder}/"),
        ("listener 8883", f"user root\nlog_dest none\nlistener {port} 127.0.0.1"),
        ("persistence true", "persistence false"),
    ):
        assert shipped in text
        text = text.replace(shipped, here)
    (folder / "access.acl").chmod(0o600)
    (folder / "broker.conf").write_text(text, "utf-8")
    program = shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin:/usr/bin") or "mosquitto"
    process = subprocess.Popen(
        [program, "-c", str(folder / "broker.conf")], stdout=subprocess.DEVNULL, stderr=sys.stderr
    )
    for _ in range(2000):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                break
        assert process.poll() is None, "mosquitto ended at once"
        threading.Event().wait(0.01)
    yield SafeBroker(port, ca_pem, other_ca_pem)
    process.terminate()
    process.wait(DEADLINE_S)


class _Listener:
    """A plain client of the broker, by another user."""

    def __init__(self, broker: SafeBroker, user: str, ca_file: Path, topics: list[str]) -> None:
        self.heard: list[tuple[str, bytes]] = []
        self._changed = threading.Condition()
        self._subscribed = False
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=f"listener-{user}")
        self.client.username_pw_set(user, PASSWORDS[user])
        self.client.tls_set(ca_certs=str(ca_file))
        self.client.on_connect = lambda client, *_: client.subscribe([(each, 1) for each in topics])
        self.client.on_subscribe = self._on_subscribe
        self.client.on_message = self._on_message
        self.client.connect_async("localhost", broker.port)
        self.client.loop_start()
        self.wait_for(lambda: self._subscribed)

    def wait_for(self, predicate: Callable[[], bool]) -> None:
        with self._changed:
            assert self._changed.wait_for(predicate, DEADLINE_S)

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()

    def _on_subscribe(self, *_: Any) -> None:
        with self._changed:
            self._subscribed = True
            self._changed.notify_all()

    def _on_message(self, _client: Any, _data: Any, message: mqtt.MQTTMessage) -> None:
        with self._changed:
            self.heard.append((message.topic, message.payload))
            self._changed.notify_all()


@pytest.fixture
def connect(until: Callable[..., None]) -> Iterator[Callable[..., BrokerConnection]]:
    made: list[BrokerConnection] = []

    def start(address: BrokerAddress, station: str = "bench-1") -> BrokerConnection:
        heard: list[Message] = []
        connection = BrokerConnection(
            address=address,
            client_id=f"{station}-rig",
            will_topic=topic(station, "presence"),
            will=b"gone",
            subscriptions=(topic(station, "stored"), topic(station, "orders")),
            on_message=heard.append,
            on_change=lambda: None,
        )
        made.append(connection)
        connection.start()
        until(lambda: connection.state is not ConnectionState.TRYING, "the attempt is over")
        return connection

    yield start
    for connection in made:
        connection.close()


def test_a_joined_rig_speaks_with_the_desk_over_tls(
    safe_broker: SafeBroker, connect: Callable[..., BrokerConnection], tmp_path: Path
) -> None:
    ca_file = tmp_path / "ca.crt"
    ca_file.write_text(safe_broker.ca_pem)
    desk = _Listener(safe_broker, "desk", ca_file, ["ohmbath/1/+/readings", "ohmbath/1/+/presence"])
    connection = connect(safe_broker.address("bench-1"))
    assert connection.state is ConnectionState.UP
    connection.publish(topic("bench-1", "readings"), b"a reading")
    desk.wait_for(lambda: (topic("bench-1", "readings"), b"a reading") in desk.heard)
    desk.close()


def test_a_station_writes_and_reads_its_own_topics_alone(
    safe_broker: SafeBroker, connect: Callable[..., BrokerConnection], tmp_path: Path
) -> None:
    ca_file = tmp_path / "ca.crt"
    ca_file.write_text(safe_broker.ca_pem)
    desk = _Listener(safe_broker, "desk", ca_file, ["ohmbath/1/+/readings", "ohmbath/1/+/stored"])
    nosy = _Listener(safe_broker, "bench-2", ca_file, ["#"])
    connection = connect(safe_broker.address("bench-1"))
    for kind, station in (("readings", "bench-2"), ("stored", "bench-1"), ("orders", "bench-2")):
        connection.publish(topic(station, kind), b"forbidden")
    connection.publish(topic("bench-1", "readings"), b"allowed")
    desk.wait_for(lambda: desk.heard != [])
    desk.client.publish(topic("bench-2", "orders"), b"for bench-2", qos=1)
    nosy.wait_for(lambda: nosy.heard != [])
    assert desk.heard == [(topic("bench-1", "readings"), b"allowed")]
    assert nosy.heard == [(topic("bench-2", "orders"), b"for bench-2")]
    for listener in (desk, nosy):
        listener.close()


# the MQTT client leaves the socket of a failed handshake to the garbage collector
_SOCKET_LEFT = pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")


@_SOCKET_LEFT
def test_a_broker_that_another_authority_vouches_for_is_not_believed(
    safe_broker: SafeBroker, connect: Callable[..., BrokerConnection], caplog: pytest.LogCaptureFixture
) -> None:
    connection = connect(safe_broker.address("bench-1", ca_pem=safe_broker.other_ca_pem))
    assert connection.state is ConnectionState.OVER
    assert "does not prove that it is the desk's own" in caplog.text
    assert "join it anew" in caplog.text


@_SOCKET_LEFT
def test_a_broker_of_another_name_is_not_believed(
    safe_broker: SafeBroker, connect: Callable[..., BrokerConnection], caplog: pytest.LogCaptureFixture
) -> None:
    assert connect(safe_broker.address("bench-1", host="127.0.0.1")).state is ConnectionState.OVER
    assert "does not prove" in caplog.text


def test_a_wrong_password_is_refused_and_the_rig_is_told_what_to_do(
    safe_broker: SafeBroker, connect: Callable[..., BrokerConnection], caplog: pytest.LogCaptureFixture
) -> None:
    connection = connect(safe_broker.address("bench-1", password="wrong"))
    assert connection.state is ConnectionState.OVER
    assert "new joining file" in caplog.text
    assert "wrong" not in caplog.text, "a password is never written to a log"
