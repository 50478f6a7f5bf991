"""The link to the MQTT broker. Local alarms never wait for it.

`publish` puts a message on a bounded queue and returns; a thread of this file hands
it to the client library, whose own thread talks to the network. A resolver that
hangs, a broker that is absent, slow, silent or lying holds up these two threads
and nobody else.

MQTT 5 throughout: it tells why a publish was refused, and lets messages expire.
After each connect everything retained is published anew, because a broker may
have lost it.
"""

import logging
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from linetender.annunciation.topics import OFFLINE, ONLINE, Topics
from linetender.runtime.broker_login import check_host, password
from linetender.runtime.incoming import Received, Reception
from linetender.runtime.link_state import LinkState
from linetender.runtime.outgoing import Message, OutgoingQueue
from linetender.settings.station_file import BrokerSettings
from linetender_drivers.contracts import Clock

_LOG = logging.getLogger(__name__)

KEEPALIVE_S = 15
"""The broker takes a silent client for dead after 1.5 times this (chosen: within 23 s)."""

SESSION_EXPIRY_S = 300
"""How long the broker keeps the session of a client that is away (chosen)."""

RECONNECT_S = (1, 30)
"""Shortest and longest wait between two attempts to connect (chosen)."""

IN_FLIGHT = 20
"""Publishes that may wait for their confirmation at a time (chosen)."""

CAPACITY = 1000
"""Unretained messages that may wait for the broker (chosen)."""

LARGEST_PACKET_BYTES = 65_536
"""The broker withholds what is larger (chosen: far more than any message for us)."""

_TURN_S = 1.0
_CONNECT_TIMEOUT_S = 5.0
_FAREWELL_S = 0.5
_GIVE_KEPT, _WITHHOLD_KEPT = (
    SubscribeOptions.RETAIN_SEND_ON_SUBSCRIBE,
    SubscribeOptions.RETAIN_DO_NOT_SEND,
)


class BrokerLink:
    """One station's connection to its broker; nothing is connected before `start`.

    Args:
        settings: Where the broker is (better a numeric address: a resolver can
            hang) and how to log in.
        station: Id of the station; the client id and the topics come from it.
        clock: For `last_confirmed_ns` and for expiry; read from several threads.
        folder: Where the station file lies: a relative password file counts from it.
        capacity: How many unretained messages may wait.
        box: Name of a second box of that station, where the link is the box's own.
        forwards: Whether it is the link by which that box sends readings: it may have both.
        reception: What is subscribed to, and who is given it.

    Raises:
        BrokerSettingsError: the password file cannot be read or is empty, or the
            host is no possible name.
    """

    def __init__(
        self,
        settings: BrokerSettings,
        station: str,
        clock: Clock,
        *,
        folder: Path = Path(),
        capacity: int = CAPACITY,
        box: str | None = None,
        forwards: bool = False,
        reception: Reception | None = None,
    ) -> None:
        self._settings = settings
        self._clock = clock
        self._online, name = _identity(station, box, forwards=forwards)
        self._reception = reception or Reception()
        self._changed = threading.Condition()
        self._queue = OutgoingQueue(capacity)
        self._queue.put(Message(self._online, ONLINE, 1, True, None, 0))
        self._unconfirmed: dict[int, Message] = {}
        self._early: dict[int, int] = {}
        self._connected = False
        self._stop_at_s: float | None = None
        self._connects = self._confirmed = self._refused = self._faults = 0
        self._last_confirmed_ns: int | None = None
        self._progress_ns: int | None = None
        self._refusal = ""
        self._offline_confirmed = False
        self._client = self._make_client(name, folder)
        self._worker = threading.Thread(target=self._work, name="broker-sender", daemon=True)

    def start(self) -> None:
        """Begin to connect, and go on trying for ever. Returns at once."""
        self._worker.start()

    def publish(
        self,
        topic: str,
        payload: bytes,
        *,
        qos: int = 0,
        retain: bool = False,
        expiry_s: int | None = None,
        answered: Callable[[int], None] | None = None,
    ) -> None:
        """Hand over a message; returns at once whatever the broker does.

        Args:
            topic: Where.
            payload: What.
            qos: 0: lost while there is no connection. 1: waits for one.
            retain: The broker keeps it; it is said again after each connect.
            expiry_s: Life of the message (s), here and at the broker; None means for ever.
            answered: Given the broker's reason code (QoS 1), on a thread of the link.
        """
        message = Message(topic, payload, qos, retain, expiry_s, self._clock.now_ns(), answered)
        with self._changed:
            if qos or retain or self._connected:
                self._queue.put(message)
                self._changed.notify_all()

    def state(self) -> LinkState:
        """Return how the link stands now."""
        with self._changed:
            return LinkState(
                connected=self._connected,
                connects=self._connects,
                waiting=len(self._queue),
                unconfirmed=len(self._unconfirmed),
                confirmed=self._confirmed,
                last_confirmed_ns=self._last_confirmed_ns,
                refused=self._refused,
                dropped=self._queue.dropped,
                expired=self._queue.expired,
                faults=self._faults,
                refusal=self._refusal,
                progress_ns=self._progress_ns,
            )

    def stop(self, timeout_s: float = 2.0) -> bool:
        """Send what waits, say `offline`, disconnect. A clean disconnect cancels the will.

        Waits up to `timeout_s` and half a second: drive the outputs safe before calling this.

        Returns:
            Whether the broker confirmed `offline`.
        """
        with self._changed:
            self._stop_at_s = time.monotonic() + timeout_s
            self._queue.put(Message(self._online, OFFLINE, 1, True, None, 0))
            self._changed.notify_all()
        if self._worker.is_alive():
            self._worker.join(timeout_s + _FAREWELL_S)
        return self._offline_confirmed

    # The sending thread.

    def _work(self) -> None:
        self._client.connect_async(
            self._settings.host,
            self._settings.port,
            keepalive=KEEPALIVE_S,
            properties=_properties(
                PacketTypes.CONNECT,
                SessionExpiryInterval=SESSION_EXPIRY_S,
                MaximumPacketSize=LARGEST_PACKET_BYTES,
            ),
        )
        self._client.loop_start()
        while (message := self._next()) is not None:
            self._send(message)
        if self._offline_confirmed:
            self._client.disconnect()
        else:
            # A plain disconnect would cancel the will and leave `online` standing.
            with_will = ReasonCode(PacketTypes.DISCONNECT, "Disconnect with will message")
            self._client.disconnect(with_will)
        self._client.loop_stop()

    def _next(self) -> Message | None:
        """Wait for a message that may be sent; None when it is time to disconnect."""
        with self._changed:
            while not self._is_finished():
                self._progress_ns = self._clock.now_ns()
                waits_for = [message for message in self._unconfirmed.values() if message.qos]
                if self._connected and len(waits_for) < IN_FLIGHT:
                    busy = {message.topic for message in waits_for if message.retain}
                    message = self._queue.take(self._progress_ns, busy)
                    if message is not None:
                        return message
                self._changed.wait(self._patience_s())
            return None

    def _is_finished(self) -> bool:
        if self._stop_at_s is None:
            return False
        return self._offline_confirmed or not self._connected or time.monotonic() >= self._stop_at_s

    def _patience_s(self) -> float:
        """Return how long to wait (s). In the last second of a stop `offline` goes first."""
        if self._stop_at_s is None:
            return _TURN_S
        left_s = self._stop_at_s - time.monotonic()
        if left_s <= _TURN_S:
            self._queue.send_first(self._online)
        return max(0.01, min(left_s, _TURN_S / 10))

    def _send(self, message: Message) -> None:
        life = (
            None
            if message.expiry_s is None
            else _properties(PacketTypes.PUBLISH, MessageExpiryInterval=message.expiry_s)
        )
        try:
            sent = self._client.publish(
                message.topic, message.payload, message.qos, message.retain, life
            )
        except ValueError as error:
            self._count_fault(f"cannot publish on {message.topic!r}: {error}")
            return
        if not message.qos and sent.rc != paho.MQTT_ERR_SUCCESS:
            return
        with self._changed:
            self._unconfirmed[sent.mid] = message
            early = self._early.pop(sent.mid, None)
            if early is not None:
                self._confirm(sent.mid)
        if early is not None:
            self._tell_answer(message, early)

    def _confirm(self, mid: int) -> None:
        message = self._unconfirmed.pop(mid)
        if message.topic == self._online and message.payload == OFFLINE:
            self._offline_confirmed = True
        self._changed.notify_all()

    def _tell_answer(self, message: Message, reason: int) -> None:
        self._reception.answered(message.topic, reason)
        if message.answered is not None:
            message.answered(reason)

    # The client library's thread.

    def _on_connect(self, reason: ReasonCode) -> None:
        where = f"{self._settings.host}:{self._settings.port}"
        if reason.is_failure:
            self._note_refusal(f"the broker at {where} refuses the connection: {reason}")
            return
        _LOG.info("connected to the broker at %s", where)
        with self._changed:
            self._connected = True
            self._connects += 1
            self._queue.say_retained_again()
            self._changed.notify_all()
        for wanted in self._reception.topics:
            options = SubscribeOptions(
                qos=wanted.qos,
                # Otherwise a kept message could not be told from one that is sent now.
                retainAsPublished=True,
                retainHandling=_GIVE_KEPT if wanted.kept else _WITHHOLD_KEPT,
            )
            self._client.subscribe(wanted.filter, options=options)

    def _on_subscribe(self, reasons: list[ReasonCode]) -> None:
        for reason in reasons:
            if reason.is_failure:
                self._note_refusal(f"the broker refuses a subscription: {reason}")

    def _on_message(self, message: paho.MQTTMessage) -> None:
        received = Received(message.topic, bytes(message.payload), message.retain)
        self._reception.receive(received)

    def _on_disconnect(self, reason: ReasonCode) -> None:
        with self._changed:
            was_connected, self._connected = self._connected, False
            # Unconfirmed publishes with QoS 1 are sent again by the library; those with
            # QoS 0 are lost, and nothing more is heard of them.
            self._unconfirmed = {mid: sent for mid, sent in self._unconfirmed.items() if sent.qos}
            self._changed.notify_all()
        if was_connected and self._stop_at_s is None:
            _LOG.warning("connection to the broker lost: %s; local alarms go on", reason)

    def _on_publish(self, mid: int, reason: ReasonCode) -> None:
        with self._changed:
            message = self._unconfirmed.get(mid)
            topic = message.topic if message else "a topic"
            is_fault = reason.is_failure and topic not in self._reception.expects_refusal
            if reason.is_failure:
                self._refused += is_fault
            elif message is None or message.qos:
                self._confirmed += 1
                self._last_confirmed_ns = self._clock.now_ns()
            if message is None:
                self._early[mid] = reason.value
            else:
                self._confirm(mid)
        if message is not None:
            self._tell_answer(message, reason.value)
        if is_fault:
            self._note_refusal(f"the broker refuses a publish on {topic}: {reason}")

    def _on_connect_fail(self) -> None:
        where = f"{self._settings.host}:{self._settings.port}"
        self._note_refusal(f"no broker answers at {where}; trying on, local alarms go on")

    def _note_refusal(self, text: str) -> None:
        """Log a reason once, not at each attempt."""
        with self._changed:
            is_new, self._refusal = text != self._refusal, text
        if is_new:
            _LOG.warning("%s", text)

    def _count_fault(self, text: str) -> None:
        with self._changed:
            self._faults += 1
        _LOG.error("%s", text)

    def _guarded(self, callback: Callable[..., None]) -> Callable[..., None]:
        """Keep an error in a callback from ending the library's thread."""

        def call(*arguments: Any) -> None:
            try:
                callback(*arguments)
            except Exception:  # noqa: BLE001 a callback: counted, logged, and the thread lives on
                with self._changed:
                    self._faults += 1
                _LOG.exception("error in a broker callback")

        return call

    def _make_client(self, name: str, folder: Path) -> paho.Client:
        check_host(self._settings.host)
        client = paho.Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"linetender-{name}",
            protocol=paho.MQTTv5,
        )
        client.connect_timeout = _CONNECT_TIMEOUT_S
        client.suppress_exceptions = True
        client.reconnect_delay_set(*RECONNECT_S)
        client.max_inflight_messages_set(IN_FLIGHT)
        # Never reached, as no more than IN_FLIGHT are handed over; the default is no bound.
        client.max_queued_messages_set(2 * IN_FLIGHT)
        client.will_set(self._online, OFFLINE, qos=1, retain=True)
        if self._settings.user is not None:
            client.username_pw_set(self._settings.user, password(self._settings, folder))
        if self._settings.tls:
            client.tls_set()
        on_connect = self._guarded(self._on_connect)
        on_disconnect = self._guarded(self._on_disconnect)
        on_publish = self._guarded(self._on_publish)
        on_subscribe = self._guarded(self._on_subscribe)
        on_message = self._guarded(self._on_message)
        on_connect_fail = self._guarded(self._on_connect_fail)
        client.on_connect = lambda _c, _u, _flags, reason, _p: on_connect(reason)
        client.on_disconnect = lambda _c, _u, _flags, reason, _p: on_disconnect(reason)
        client.on_publish = lambda _c, _u, mid, reason, _p: on_publish(mid, reason)
        client.on_subscribe = lambda _c, _u, _mid, reasons, _p: on_subscribe(reasons)
        client.on_message = lambda _c, _u, message: on_message(message)
        client.on_connect_fail = lambda _c, _u: on_connect_fail()
        return client


def _identity(station: str, box: str | None, *, forwards: bool) -> tuple[str, str]:
    """Return the topic on which a link says that it is there, and its name at the broker."""
    topics = Topics(station)
    if box is None:
        return topics.online, station
    if forwards:
        return topics.forward_online(box), f"{station}-forward-{box}"
    return topics.far_online(box), f"{station}-far-{box}"


def _properties(packet: int, **values: int) -> Properties:
    made = Properties(packet)  # type: ignore[no-untyped-call]
    for name, value in values.items():
        setattr(made, name, value)
    return made
