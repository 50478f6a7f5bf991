"""One connection to the MQTT broker, as the client library makes it: MQTT 5, perhaps TLS.

The only file that knows the client library. A `BrokerClient` lives for one connection:
it tries until the broker accepts, and ends when that connection does. The library would
send again what a break left unconfirmed, as it was; a new client sends what is true now.
"""

import logging
import ssl
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple, Protocol

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from linetender.runtime.incoming import Received, Wanted

_LOG = logging.getLogger(__name__)

KEEPALIVE_S = 15
"""The broker takes a silent client for dead after 1.5 times this (chosen: within 23 s)."""

SESSION_EXPIRY_S = 300
"""How long the broker keeps the session of a client that is away (chosen)."""

RECONNECT_S = (1, 5)
"""Shortest and longest wait between two attempts to connect, s (chosen: a box beside a wearer
sounds LEAVE 10 s after the last word, and a broker in the house has few clients)."""

IN_FLIGHT = 20
"""Publishes that may wait for their confirmation at a time (chosen)."""

LARGEST_PACKET_BYTES = 65_536
"""The broker withholds what is larger (chosen: far more than any message for us)."""

_CONNECT_TIMEOUT_S = 5.0
_GIVE_KEPT, _WITHHOLD_KEPT = (
    SubscribeOptions.RETAIN_SEND_ON_SUBSCRIBE,
    SubscribeOptions.RETAIN_DO_NOT_SEND,
)


class Login(NamedTuple):
    """Where to connect, and as whom.

    Attributes:
        host: Name or address.
        port: TCP port.
        client_id: The same for each connection of a link.
        user: User name, or None.
        password: Its password, or None.
        tls: Whether the connection is encrypted and the broker must prove its name.
        ca_file: Certificates that are trusted for that; None means the system's.
        will: Topic and payload that the broker publishes, retained, when the link is lost.
    """

    host: str
    port: int
    client_id: str
    user: str | None
    password: str | None
    tls: bool
    ca_file: Path | None
    will: tuple[str, bytes]


class Answer(NamedTuple):
    """A reason code with which the broker answered.

    Attributes:
        code: MQTT 5, 2.4.
        words: Its name.
    """

    code: int
    words: str

    @property
    def is_failure(self) -> bool:
        """Whether it is a refusal."""
        return self.code >= 0x80


class Owner(Protocol):
    """Who a client reports to; all is called on a thread of the client library."""

    def connected(self, client: "BrokerClient", answer: Answer) -> None:
        """The broker answered an attempt."""

    def failed(self, client: "BrokerClient", why: str) -> None:
        """An attempt failed: nobody there, or not whom the certificate should name."""

    def disconnected(self, client: "BrokerClient", why: str) -> None:
        """The connection ended; this client is done if it had been accepted."""

    def published(self, client: "BrokerClient", mid: int, answer: Answer) -> None:
        """A publish was sent (QoS 0) or answered (QoS 1)."""

    def subscribed(self, client: "BrokerClient", answers: list[Answer]) -> None:
        """Subscriptions were answered."""

    def received(self, client: "BrokerClient", message: Received) -> None:
        """A message came."""

    def erred(self, client: "BrokerClient") -> None:
        """One of the calls above raised; it is in the log."""


class BrokerClient:
    """One connection; it tries from `start` on.

    Args:
        login: Where and as whom.
        owner: Who is told.
        resumes: Whether the broker shall go on with the session of an earlier client.

    Raises:
        OSError: the file of trusted certificates cannot be used.
    """

    def __init__(self, login: Login, owner: Owner, *, resumes: bool) -> None:
        self._login = login
        self._owner = owner
        self._resumes = resumes
        client = paho.Client(
            CallbackAPIVersion.VERSION2, client_id=login.client_id, protocol=paho.MQTTv5
        )
        client.connect_timeout = _CONNECT_TIMEOUT_S
        client.suppress_exceptions = True
        client.reconnect_delay_set(*RECONNECT_S)
        client.max_inflight_messages_set(IN_FLIGHT)
        # Never reached, as no more than IN_FLIGHT are handed over; the default is no bound.
        client.max_queued_messages_set(2 * IN_FLIGHT)
        client.will_set(*login.will, qos=1, retain=True)
        if login.user is not None:
            client.username_pw_set(login.user, login.password)
        if login.tls:
            client.tls_set_context(ssl.create_default_context(cafile=login.ca_file))
        self._client = client
        self._set_callbacks()

    def start(self) -> None:
        """Begin to connect; returns at once."""
        self._client.connect_async(
            self._login.host,
            self._login.port,
            keepalive=KEEPALIVE_S,
            clean_start=not self._resumes,
            properties=_properties(
                PacketTypes.CONNECT,
                SessionExpiryInterval=SESSION_EXPIRY_S,
                MaximumPacketSize=LARGEST_PACKET_BYTES,
            ),
        )
        self._client.loop_start()

    def subscribe(self, wanted: Wanted) -> None:
        """Ask for messages; the owner is told of the answer."""
        options = SubscribeOptions(
            qos=wanted.qos,
            # Otherwise a kept message could not be told from one that is sent now.
            retainAsPublished=True,
            retainHandling=_GIVE_KEPT if wanted.kept else _WITHHOLD_KEPT,
        )
        self._client.subscribe(wanted.filter, options=options)

    def publish(
        self, topic: str, payload: bytes, qos: int, retain: bool, expiry_s: int | None
    ) -> int | None:
        """Send a message.

        Returns:
            The number under which `published` tells of it, or None: it is lost (QoS 0).

        Raises:
            ValueError: it cannot be sent at all.
        """
        life = (
            None
            if expiry_s is None
            else _properties(PacketTypes.PUBLISH, MessageExpiryInterval=expiry_s)
        )
        sent = self._client.publish(topic, payload, qos, retain, life)
        return sent.mid if qos or sent.rc == paho.MQTT_ERR_SUCCESS else None

    def close(self, *, with_will: bool, within_s: float) -> None:
        """Disconnect and wait for the library's thread, `within_s` at most.

        Args:
            with_will: Whether the broker shall publish the will: a plain disconnect
                cancels it.
            within_s: A thread that hangs is left behind.
        """
        if with_will:
            self._client.disconnect(
                ReasonCode(PacketTypes.DISCONNECT, "Disconnect with will message")
            )
        else:
            self._client.disconnect()
        ending = threading.Thread(target=self._client.loop_stop, name="broker-end", daemon=True)
        ending.start()
        ending.join(within_s)

    def _set_callbacks(self) -> None:
        """Pass all on, guarded: an error would end the library's thread."""
        client, owner = self._client, self._owner
        connected = self._guarded(owner.connected)
        failed = self._guarded(owner.failed)
        published = self._guarded(owner.published)
        subscribed = self._guarded(owner.subscribed)
        received = self._guarded(owner.received)
        client.on_connect = lambda _c, _u, _flags, reason, _p: connected(_answer(reason))
        client.on_connect_fail = lambda _c, _u: failed(self._why(sys.exception()))
        client.on_disconnect = lambda _c, _u, _flags, reason, _p: self._on_disconnect(reason)
        client.on_publish = lambda _c, _u, mid, reason, _p: published(mid, _answer(reason))
        client.on_subscribe = lambda _c, _u, _mid, reasons, _p: subscribed(
            [_answer(reason) for reason in reasons]
        )
        client.on_message = lambda _c, _u, message: received(
            Received(message.topic, bytes(message.payload), message.retain)
        )

    def _why(self, error: BaseException | None) -> str:
        """Return why an attempt to connect failed, as the library met it, for people."""
        where = f"{self._login.host}:{self._login.port}"
        if isinstance(error, ssl.SSLCertVerificationError):
            return f"the certificate of the broker at {where} is not good: {error.verify_message}"
        if isinstance(error, ssl.SSLError):
            return f"no encrypted connection to the broker at {where}: {error.reason or error}"
        return f"no broker answers at {where}"

    def _on_disconnect(self, reason: ReasonCode) -> None:
        self._guarded(self._owner.disconnected)(str(reason))

    def _guarded(self, callback: Callable[..., None]) -> Callable[..., None]:
        def call(*arguments: Any) -> None:
            try:
                callback(self, *arguments)
            except Exception:  # noqa: BLE001 a callback: counted, logged, and the thread lives on
                self._owner.erred(self)
                _LOG.exception("error in a broker callback")

        return call

    def end(self) -> None:
        """Let the library's thread end instead of connecting anew; from any thread."""
        self._client.disconnect()


def _answer(reason: ReasonCode) -> Answer:
    return Answer(reason.value, str(reason))


def _properties(packet: int, **values: int) -> Properties:
    made = Properties(packet)  # type: ignore[no-untyped-call]
    for name, value in values.items():
        setattr(made, name, value)
    return made
