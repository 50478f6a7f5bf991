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

from linetender.annunciation.topics import OFFLINE, ONLINE
from linetender.core.instants import SECOND_NS
from linetender.runtime.broker import IN_FLIGHT, Answer, BrokerClient, Login
from linetender.runtime.broker_login import ca_file, check_host, identity, password
from linetender.runtime.incoming import Received, Reception
from linetender.runtime.link_state import LinkState
from linetender.runtime.outgoing import LOST, Message, OutgoingQueue
from linetender.settings.station_file import BrokerSettings
from linetender_drivers.contracts import Clock

_LOG = logging.getLogger(__name__)

CAPACITY = 1000
"""Unretained messages that may wait for the broker (chosen)."""

UNANSWERED_AFTER_NS = 45 * SECOND_NS
"""A connection on which a publish waits for so long is given up, should the client library
not have done so by itself (its keepalive takes 30 s)."""

HANGS_AFTER_NS = 15 * SECOND_NS
"""A sending thread that makes no turn for so long gets a successor."""

_TURN_S = 1.0
_AGAIN_S = 1.0
"""Wait after a lost connection (chosen: one that is lost at once must not be made in a loop)."""
_FAREWELL_S = 0.5


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
        self._clock = clock
        self._online, name = identity(station, box, forwards=forwards)
        self._reception = reception or Reception()
        self._login = _login(settings, folder, f"linetender-{name}", self._online)
        self._changed = threading.Condition()
        self._queue = OutgoingQueue(capacity)
        self._queue.put(Message(self._online, ONLINE, 1, True, None, 0))
        self._unconfirmed: dict[int, Message] = {}
        self._early: dict[int, Answer] = {}
        self._sent_ns: dict[int, int] = {}
        self._connected = self._is_over = False
        self._stop_at_s: float | None = None
        self._connects = self._confirmed = self._refused = self._faults = self._renewals = 0
        self._last_confirmed_ns: int | None = None
        self._progress_ns: int | None = None
        self._refusal = ""
        self._said: set[str] = set()
        self._offline_confirmed = False
        self._client = BrokerClient(self._login, self, resumes=False)
        self._worker = self._new_worker()

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
                untold=self._queue.retained
                + sum(message.retain for message in self._unconfirmed.values()),
                renewals=self._renewals,
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

    def say_again(self) -> None:
        """Publish all that is retained anew; returns at once."""
        with self._changed:
            self._queue.say_retained_again()
            self._changed.notify_all()

    def renew_if_stuck(self) -> None:
        """Give a sending thread that makes no turn a successor, with a connection of its own.

        Call it now and then; it returns at once.
        """
        now_ns = self._clock.now_ns()
        with self._changed:
            seen_ns = self._progress_ns
            if seen_ns is None or now_ns - seen_ns < HANGS_AFTER_NS or self._stop_at_s is not None:
                return
            self._progress_ns = now_ns
            self._renewals += 1
            self._worker = self._new_worker()
            self._replace_client()
        _LOG.error("the thread that sends to the broker hangs; another one goes on")
        self._worker.start()

    # The sending thread.

    def _new_worker(self) -> threading.Thread:
        return threading.Thread(target=self._work, name="broker-sender", daemon=True)

    def _work(self) -> None:
        while self._is_current():
            client = self._client
            client.start()
            while (message := self._next(client)) is not None:
                self._send(client, message)
            client.close(with_will=not self._offline_confirmed, within_s=_FAREWELL_S)
            with self._changed:
                if self._stop_at_s is not None or not self._is_current():
                    return
                self._replace_client()
                self._changed.wait(_AGAIN_S)

    def _is_current(self) -> bool:
        return threading.current_thread() is self._worker

    def _replace_client(self) -> None:
        """Take a new client, and back what the old one had on its way; the lock is held.

        The library would repeat it as it was: an event without its mark that it is late,
        a state that is over.
        """
        self._connected = self._is_over = False
        on_its_way = [one for one in self._unconfirmed.values() if one.qos and not one.retain]
        self._unconfirmed, self._early, self._sent_ns = {}, {}, {}
        self._client = BrokerClient(self._login, self, resumes=True)
        for message in on_its_way:
            if message.answered is not None:
                message.answered(LOST)
        self._queue.put_back([one for one in on_its_way if one.answered is None])

    def _next(self, client: BrokerClient) -> Message | None:
        """Wait for a message that may be sent; None when this client has done its work."""
        with self._changed:
            while not self._is_finished() and client is self._client and self._is_current():
                now_ns = self._progress_ns = self._clock.now_ns()
                waits_for = [message for message in self._unconfirmed.values() if message.qos]
                if self._is_unanswered(now_ns) or self._is_over:
                    return None
                if self._connected and len(waits_for) < IN_FLIGHT:
                    busy = {message.topic for message in waits_for if message.retain}
                    message = self._queue.take(now_ns, busy)
                    if message is not None:
                        return message
                self._changed.wait(self._patience_s())
            return None

    def _is_unanswered(self, now_ns: int) -> bool:
        oldest_ns = min(self._sent_ns.values(), default=now_ns)
        return self._connected and now_ns - oldest_ns >= UNANSWERED_AFTER_NS

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

    def _send(self, client: BrokerClient, message: Message) -> None:
        try:
            mid = client.publish(
                message.topic, message.payload, message.qos, message.retain, message.expiry_s
            )
        except ValueError as error:
            self._count_fault(f"cannot publish on {message.topic!r}: {error}")
            return
        with self._changed:
            if client is not self._client:
                self._put_back(message)
                return
            if mid is None:
                return
            self._unconfirmed[mid] = message
            if message.qos:
                self._sent_ns[mid] = self._clock.now_ns()
            early = self._early.pop(mid, None)
            if early is not None:
                self._confirm(mid)
        if early is not None:
            self._tell_answer(message, early)

    def _put_back(self, message: Message) -> None:
        """Let the current connection send what a client took that was replaced meanwhile."""
        if message.answered is not None:
            message.answered(LOST)
        elif message.qos and not message.retain:
            self._queue.put_back([message])
            self._changed.notify_all()

    def _confirm(self, mid: int) -> None:
        message = self._unconfirmed.pop(mid)
        self._sent_ns.pop(mid, None)
        if message.topic == self._online and message.payload == OFFLINE:
            self._offline_confirmed = True
        self._changed.notify_all()

    def _tell_answer(self, message: Message, answer: Answer) -> None:
        self._reception.answered(message.topic, answer.code)
        if message.answered is not None:
            message.answered(answer.code)

    # The client library's thread: `broker.Owner`. A client that was replaced counts no more.

    def connected(self, client: BrokerClient, answer: Answer) -> None:
        """Take the broker's answer to an attempt to connect."""
        where = f"{self._login.host}:{self._login.port}"
        if answer.is_failure:
            self._note_refusal(f"the broker at {where} refuses the connection: {answer.words}")
            return
        with self._changed:
            if client is not self._client:
                return
            self._connected = True
            self._connects += 1
            self._said.clear()
            self._queue.say_retained_again()
            self._changed.notify_all()
        _LOG.info("connected to the broker at %s", where)
        for wanted in self._reception.topics:
            client.subscribe(wanted)
        self._reception.connected()

    def subscribed(self, client: BrokerClient, answers: list[Answer]) -> None:
        """Take the broker's answers to subscriptions."""
        for answer in answers:
            if answer.is_failure:
                self._note_refusal(f"the broker refuses a subscription: {answer.words}")

    def received(self, client: BrokerClient, message: Received) -> None:
        """Take a message."""
        if client is self._client:
            self._reception.receive(message)

    def disconnected(self, client: BrokerClient, why: str) -> None:
        """Note that a connection has ended."""
        with self._changed:
            was_connected = self._connected and client is self._client
            if was_connected:
                self._connected, self._is_over = False, True
                self._changed.notify_all()
        if was_connected:
            client.end()
            if self._stop_at_s is None:
                _LOG.warning("connection to the broker lost: %s; local alarms go on", why)

    def published(self, client: BrokerClient, mid: int, answer: Answer) -> None:
        """Take the broker's answer to a publish."""
        with self._changed:
            if client is not self._client:
                return
            message = self._unconfirmed.get(mid)
            topic = message.topic if message else "a topic"
            is_fault = answer.is_failure and topic not in self._reception.expects_refusal
            if answer.is_failure:
                self._refused += is_fault
            elif message is None or message.qos:
                self._confirmed += 1
                self._last_confirmed_ns = self._clock.now_ns()
            if message is None:
                self._early[mid] = answer
            else:
                self._confirm(mid)
        if message is not None:
            self._tell_answer(message, answer)
        if is_fault:
            self._note_refusal(f"the broker refuses to take {topic}: {answer.words}", "publish")

    def failed(self, client: BrokerClient, why: str) -> None:
        """Note that an attempt to connect failed."""
        self._note_refusal(f"{why}; trying on, local alarms go on")

    def erred(self, client: BrokerClient) -> None:
        """Count an error in one of these."""
        with self._changed:
            self._faults += 1

    def _note_refusal(self, text: str, kind: str = "") -> None:
        """Log a reason, or a kind of them, once in a connection or outage."""
        with self._changed:
            self._refusal = text
            is_new = (kind or text) not in self._said
            self._said.add(kind or text)
        if is_new:
            _LOG.warning("%s", text)

    def _count_fault(self, text: str) -> None:
        with self._changed:
            self._faults += 1
        _LOG.error("%s", text)


def _login(settings: BrokerSettings, folder: Path, client_id: str, online: str) -> Login:
    check_host(settings.host)
    secret = None if settings.user is None else password(settings, folder)
    trusted = ca_file(settings, folder)
    will = (online, OFFLINE)
    return Login(
        settings.host, settings.port, client_id, settings.user, secret, settings.tls, trusted, will
    )
