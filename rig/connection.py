"""One connection to the broker, from one attempt to its end; the link makes a new one afterwards.

Nothing of a broken connection lives on in memory: what was under way is sent again from the outbox.
"""

import logging
import socket
import ssl
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from enum import Enum
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

log = logging.getLogger(__name__)

KEEP_ALIVE_S = 15


class ConnectionState(Enum):
    """Where a connection is in its life."""

    TRYING = "trying"
    UP = "up"
    OVER = "over"


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokerAddress:
    """Where the broker listens, and how it lets a rig in.

    Attributes
    ----------
    username, password : str or None
        What it wants to see.
    ca_pem : str or None
        Certificate authority that its certificate must come from; None speaks without TLS.
    """

    host: str
    port: int
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    ca_pem: str | None = field(default=None, repr=False)

    def __str__(self) -> str:
        return f"{self.host}:{self.port}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """A message from the broker; ``retained`` where it is an old copy."""

    topic: str
    payload: bytes
    retained: bool


class BrokerConnection:
    """A clean MQTT session that is tried once and lives once.

    Parameters
    ----------
    address : BrokerAddress
        Where the broker listens.
    client_id : str
        Id of this client.
    will_topic, will : str, bytes
        Retained message that the broker gives when this connection breaks.
    subscriptions : Sequence[str]
        Topics to hear, at QoS 1.
    on_message : Callable[[Message], None]
        Called on the connection's own thread.
    on_change : Callable[[], None]
        Called there when `state` changed.
    """

    def __init__(
        self,
        *,
        address: BrokerAddress,
        client_id: str,
        will_topic: str,
        will: bytes,
        subscriptions: Sequence[str],
        on_message: Callable[[Message], None],
        on_change: Callable[[], None],
    ) -> None:
        self.state = ConnectionState.TRYING
        self._address = address
        self._subscriptions = [(topic, 1) for topic in subscriptions]
        self._on_message = on_message
        self._on_change = on_change
        self._client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id=client_id, clean_session=True, reconnect_on_failure=False
        )
        self._client.will_set(will_topic, will, qos=1, retain=True)
        if address.username is not None:
            self._client.username_pw_set(address.username, address.password)
        if address.ca_pem is not None:
            self._client.tls_set_context(_tls_context(address.ca_pem))
        self._client.max_inflight_messages_set(0)  # the send window alone limits what is under way
        self._client.reconnect_delay_set(0, 0)  # the link makes the pauses
        self._client.on_socket_open = _send_at_once
        self._client.on_connect = self._connected
        self._client.on_connect_fail = self._connect_failed
        self._client.on_disconnect = self._disconnected
        self._client.on_message = self._message_came

    def start(self) -> None:
        """Begin, on a thread of its own."""
        self._client.connect_async(self._address.host, self._address.port, keepalive=KEEP_ALIVE_S)
        self._client.loop_start()

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        """Hand a message to the broker at QoS 1; nothing is promised."""
        self._client.publish(topic, payload, qos=1, retain=retain)

    def farewell(self, topic: str, payload: bytes, *, patience_s: float) -> None:
        """Give a last retained message, and wait so long for the broker to take it."""
        info = self._client.publish(topic, payload, qos=1, retain=True)
        try:
            info.wait_for_publish(patience_s)
        except (RuntimeError, ValueError) as error:
            log.debug("the farewell did not go out: %s", error)

    def close(self) -> None:
        """End the connection and its thread."""
        self._client.disconnect()
        self._client.loop_stop()

    def _connected(self, client: mqtt.Client, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            log.warning(
                "the broker at %s refuses this rig (%s): have the desk write a new joining file, then join",
                self._address,
                reason,
            )
            self._change(ConnectionState.OVER)
            return
        client.subscribe(self._subscriptions)
        log.info("connected to the broker at %s", self._address)
        self._change(ConnectionState.UP)

    def _connect_failed(self, _client: mqtt.Client, _data: Any) -> None:
        error = sys.exception()  # the client calls this while it handles what went wrong
        if isinstance(error, ssl.SSLError):
            log.warning(
                "the broker at %s does not prove that it is the desk's own (%s): check this rig's "
                "date and time, then join it anew",
                self._address,
                getattr(error, "verify_message", "") or error,
            )
        self._change(ConnectionState.OVER)

    def _disconnected(
        self, _client: mqtt.Client, _data: Any, _flags: Any, reason: Any, _properties: Any
    ) -> None:
        if self.state is ConnectionState.UP:
            log.info("the connection to the broker is over: %s", reason)
        self._change(ConnectionState.OVER)

    def _message_came(self, _client: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        try:
            self._on_message(
                Message(topic=message.topic, payload=message.payload, retained=bool(message.retain))
            )
        except Exception:  # or paho's thread would end, and the rig with it
            log.exception("a message on %s could not be handled; it is left", message.topic)

    def _change(self, state: ConnectionState) -> None:
        self.state = state
        self._on_change()


def _send_at_once(_client: mqtt.Client, _data: Any, sock: Any) -> None:
    """Hold no small packet back for the one before it: that costs 40 ms a turn on some systems."""
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


def _tls_context(ca_pem: str) -> ssl.SSLContext:
    """TLS that believes the desk's own authority and nobody else."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)  # checks certificate and host name
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.load_verify_locations(cadata=ca_pem)
    return context
