import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from host.broker import EmbeddedBroker, free_port

pytestmark = pytest.mark.slow

Until = Callable[..., None]


@pytest.fixture
def said() -> list[str]:
    return []


@pytest.fixture
def broker(tmp_path: Path, said: list[str]) -> Iterator[EmbeddedBroker]:
    embedded = EmbeddedBroker(free_port(), folder=tmp_path, say=said.append)
    embedded.start()
    yield embedded
    embedded.stop()


class Listener:
    """A client that writes down what it hears, as (topic, payload, retained)."""

    def __init__(self, port: int, topics: str, client_id: str = "listener") -> None:
        self.heard: list[tuple[str, bytes, bool]] = []
        self.subscribed = threading.Event()
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=client_id)
        self.client.on_connect = lambda client, *_: client.subscribe(topics, qos=1)
        self.client.on_subscribe = lambda *_: self.subscribed.set()
        self.client.on_message = lambda _c, _d, message: self.heard.append(
            (message.topic, message.payload, message.retain)
        )
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()
        assert self.subscribed.wait(20)

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


def say(port: int, topic: str, payload: bytes, *, retain: bool = False) -> None:
    client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="speaker")
    client.connect("127.0.0.1", port)
    client.loop_start()
    client.publish(topic, payload, qos=1, retain=retain).wait_for_publish(20)
    client.disconnect()
    client.loop_stop()


def test_the_embedded_broker_passes_messages_of_the_largest_size_on_in_order(
    broker: EmbeddedBroker, until: Until
) -> None:
    listener = Listener(broker.port, "ohmbath/1/+/readings")
    payloads = [bytes([number]) * 65_536 for number in range(40)]
    client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="rig")
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    for payload in payloads:
        client.publish("ohmbath/1/bench-1/readings", payload, qos=1)
    until(lambda: len(listener.heard) >= len(payloads), "all messages arrive")
    assert [payload for _, payload, _ in listener.heard] == payloads
    client.disconnect()
    client.loop_stop()
    listener.close()


def test_the_embedded_broker_keeps_the_last_retained_message_of_a_topic(
    broker: EmbeddedBroker, until: Until
) -> None:
    say(broker.port, "ohmbath/1/bench-1/stored", b"old", retain=True)
    say(broker.port, "ohmbath/1/bench-1/stored", b"new", retain=True)
    say(broker.port, "ohmbath/1/bench-1/orders", b"an order", retain=False)
    listener = Listener(broker.port, "ohmbath/1/#")
    until(lambda: listener.heard, "the retained message arrives")
    assert listener.heard == [("ohmbath/1/bench-1/stored", b"new", True)]
    listener.close()


def test_the_embedded_broker_says_the_last_will_of_a_rig_that_was_cut_off(
    broker: EmbeddedBroker, until: Until
) -> None:
    listener = Listener(broker.port, "ohmbath/1/+/presence")
    rig = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="rig", reconnect_on_failure=False)
    rig.will_set("ohmbath/1/bench-1/presence", b"gone", qos=1, retain=True)
    rig.connect("127.0.0.1", broker.port)
    rig.loop_start()
    until(rig.is_connected, "the rig is connected")
    connection = rig.socket()
    assert isinstance(connection, socket.socket)
    connection.shutdown(socket.SHUT_RDWR)
    until(lambda: listener.heard, "the will arrives")
    assert listener.heard[0][:2] == ("ohmbath/1/bench-1/presence", b"gone")
    rig.loop_stop()
    listener.close()


def test_a_killed_broker_is_started_again_on_its_port_and_has_forgotten_what_it_held(
    broker: EmbeddedBroker, said: list[str], until: Until
) -> None:
    port, pid = broker.port, broker.pid
    say(port, "ohmbath/1/bench-1/stored", b"kept in memory only", retain=True)
    assert pid is not None
    os.kill(pid, signal.SIGKILL)
    until(lambda: broker.restarts == 1, "the broker is back")
    assert (broker.port, said) == (port, ["The broker died and is started again."])
    listener = Listener(port, "ohmbath/1/#")
    say(port, "ohmbath/1/bench-1/orders", b"first after the restart")
    until(lambda: listener.heard, "a message arrives")
    assert listener.heard == [("ohmbath/1/bench-1/orders", b"first after the restart", False)]
    listener.close()


def test_a_taken_port_is_said_and_another_one_used(broker: EmbeddedBroker) -> None:
    words: list[str] = []
    second = EmbeddedBroker(broker.port, say=words.append)
    second.start()
    assert second.port != broker.port
    assert words == [
        f"Port {broker.port} is taken by another program: the broker uses {second.port} instead."
    ]
    second.stop()


def test_the_broker_listens_on_loopback_alone(broker: EmbeddedBroker) -> None:
    with socket.socket() as probe:
        assert probe.connect_ex(("127.0.0.1", broker.port)) == 0
    with socket.socket() as probe:
        assert probe.connect_ex(("127.0.0.2", broker.port)) != 0


def test_the_broker_goes_with_a_killed_desk_and_frees_its_port(until: Until) -> None:
    port = free_port()
    desk = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "import sys, time; from host.broker import EmbeddedBroker\n"
            f"broker = EmbeddedBroker({port}); broker.start()\n"
            "print(broker.pid, flush=True); time.sleep(600)",
        ],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert desk.stdout is not None
    broker_pid = int(desk.stdout.readline())
    desk.stdout.close()
    desk.kill()
    desk.wait()
    until(lambda: not _is_alive(broker_pid), "the broker has ended")
    next_desk = EmbeddedBroker(port)
    next_desk.start()
    assert next_desk.port == port
    next_desk.stop()


def _is_alive(pid: int) -> bool:
    try:
        with open(f"/proc/{pid}/stat", encoding="ascii") as stat:
            return stat.read().rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False
