"""The desk's connection to the broker. What it delivers may come twice, or not at all."""

import logging
import socket
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from calibration.contract.topics import topic

# What is retained comes first, all of it, before a word of our own goes out (protocol, rule 14).
FIRST_KINDS = ("stored", "presence")
SUBSCRIBED_KINDS = ("readings", "answers")
log = logging.getLogger(__name__)

_KEEP_ALIVE_S = 30
_RECONNECT_S = (1, 5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Access:
    """How the broker lets this desk in; all None where it lets anybody in without TLS.

    Attributes
    ----------
    ca_file : Path or None
        Certificate authority that the broker's certificate must come from.
    """

    username: str | None = None
    password: str | None = field(default=None, repr=False)
    ca_file: Path | None = None


class Wire:
    """An MQTT client that comes back by itself.

    Parameters
    ----------
    client_id : str
        Name of this connection; another one of the same name throws it out.
    host, port : str, int
        The broker.
    deliver : Callable[[str, bytes, bool], None]
        Gets topic, payload and whether the message was retained. In the client's thread.
    came_up : Callable[[], None]
        Called when subscriptions hold and what was retained has come, after each connection. In the client's
        thread.
    access : Access
        How the broker lets this desk in.
    """

    def __init__(
        self,
        client_id: str,
        host: str,
        port: int,
        *,
        deliver: Callable[[str, bytes, bool], None],
        came_up: Callable[[], None],
        access: Access | None = None,
    ) -> None:
        self._deliver = deliver
        self._came_up = came_up
        self._up = threading.Event()
        self._steps: list[tuple[str, ...]] = []
        # A clean session: what a broker held back for a desk that was away would be old news, and
        # the rigs send again from the watermark anyway.
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=client_id, clean_session=True)
        access = access or Access()
        if access.username is not None:
            self._client.username_pw_set(access.username, access.password)
        if access.ca_file is not None:
            self._client.tls_set(ca_certs=str(access.ca_file))
        self._client.reconnect_delay_set(*_RECONNECT_S)
        self._client.on_socket_open = _send_at_once
        self._client.on_connect = self._on_connect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_disconnect = self._on_disconnect
        self._client.on_message = self._on_message
        self._client.connect_async(host, port, keepalive=_KEEP_ALIVE_S)

    @property
    def is_up(self) -> bool:
        """Tell whether the subscriptions hold."""
        return self._up.is_set()

    def wait_until_up(self, timeout_s: float) -> bool:
        """Wait for the subscriptions; False where they do not hold after ``timeout_s``."""
        return self._up.wait(timeout_s)

    def start(self) -> None:
        """Start connecting, and go on for ever."""
        self._client.loop_start()

    def stop(self) -> None:
        """Send what is on its way, and disconnect."""
        self._client.disconnect()
        self._client.loop_stop()
        self._up.clear()

    def publish(self, topic_text: str, payload: bytes, *, retain: bool = False) -> bool:
        """Publish at QoS 1; False, and nothing kept, where there is no connection."""
        if not self.is_up:
            return False
        self._client.publish(topic_text, payload, qos=1, retain=retain)
        return True

    def _on_connect(self, client: mqtt.Client, _data: Any, _flags: Any, reason: Any, _more: Any) -> None:
        if reason.is_failure:
            log.warning(
                "the broker refuses this desk: %s. Check --broker-user and its password file, and that the "
                "broker knows this name.",
                reason,
                extra={"says_what_to_do": True},
            )
            return
        self._steps = [FIRST_KINDS, SUBSCRIBED_KINDS]
        self._subscribe_next(client)

    def _subscribe_next(self, client: mqtt.Client) -> None:
        client.subscribe([(topic("+", kind), 1) for kind in self._steps.pop(0)])

    def _on_subscribe(self, client: mqtt.Client, *_: Any) -> None:
        if self._steps:
            self._subscribe_next(client)
            return
        self._up.set()
        self._came_up()

    def _on_disconnect(self, *_: Any) -> None:
        self._up.clear()

    def _on_message(self, _client: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        try:
            topic_text = message.topic
        except UnicodeDecodeError:
            return  # no topic of ours, and no broker that keeps to the standard passes it on
        self._deliver(topic_text, bytes(message.payload), bool(message.retain))


def _send_at_once(_client: mqtt.Client, _data: Any, connection: Any) -> None:
    # An accelerated rig stands still until it hears `stored`: no waiting to fill a segment.
    connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
