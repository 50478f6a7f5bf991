"""What waits to be published: bounded, and of a state only the newest.

Not safe for threads by itself: `broker.py` holds its lock around each call.
"""

from collections import deque
from collections.abc import Callable, Container, Sequence
from typing import NamedTuple

from linetender.core.instants import SECOND_NS

LOST = -1
"""Told instead of a reason code: the connection ended before the broker answered."""


class Message(NamedTuple):
    """One publish.

    Attributes:
        topic: Where.
        payload: What; empty and retained removes what the broker keeps.
        qos: 0 or 1.
        retain: Whether the broker keeps it for those who come later.
        expiry_s: The broker forgets it after this long (s); None means never.
        put_ns: When it was handed over.
        answered: Given the reason code with which the broker answers, or LOST, on the
            link's thread; not called for one that is given up. Who minds sends it again.
    """

    topic: str
    payload: bytes
    qos: int
    retain: bool
    expiry_s: int | None
    put_ns: int
    answered: Callable[[int], None] | None = None


class OutgoingQueue:
    """First in, first out, with two exceptions.

    Of a retained topic only the newest payload counts: it waits once, and is kept to
    be said again to a broker that may have lost it. Of the others at most `capacity`
    wait; beyond that the oldest is dropped and counted.
    """

    def __init__(self, capacity: int) -> None:
        self._capacity = capacity
        self._retained: dict[str, Message] = {}
        self._waiting: deque[Message | str] = deque()
        self._passing = 0
        self.dropped = 0
        self.expired = 0

    def __len__(self) -> int:
        """Return how many messages wait."""
        return len(self._waiting)

    @property
    def retained(self) -> int:
        """How many of them are retained."""
        return len(self._waiting) - self._passing

    def put(self, message: Message) -> None:
        """Add a message."""
        if message.retain:
            is_waiting = message.topic in self._waiting
            self._retained[message.topic] = message
            if not is_waiting:
                self._waiting.append(message.topic)
            return
        if self._passing == self._capacity:
            self._drop_oldest()
        self._waiting.append(message)
        self._passing += 1

    def take(self, now_ns: int, busy: Container[str]) -> Message | None:
        """Remove and return the next message, or None when there is none to send.

        Args:
            now_ns: The instant; what waited longer than its expiry is left out and counted.
            busy: Retained topics of which an older payload is still on its way: the newer
                one waits, and takes in what changes meanwhile.
        """
        index = 0
        while index < len(self._waiting):
            waiting = self._waiting[index]
            if isinstance(waiting, str) and waiting in busy:
                index += 1
                continue
            del self._waiting[index]
            if isinstance(waiting, str):
                return self._retained[waiting]
            self._passing -= 1
            if not _is_expired(waiting, now_ns):
                return waiting
            self.expired += 1
        return None

    def put_back(self, messages: Sequence[Message]) -> None:
        """Let unretained messages that were not confirmed go before those that wait."""
        self._waiting.extendleft(reversed(messages))
        self._passing += len(messages)
        while self._passing > self._capacity:
            self._drop_oldest()

    def say_retained_again(self) -> None:
        """Let every retained topic be sent anew, before all else, in the order of first use."""
        passing = [waiting for waiting in self._waiting if not isinstance(waiting, str)]
        self._waiting = deque([*self._retained, *passing])

    def send_first(self, topic: str) -> None:
        """Let a retained topic that waits go before all else."""
        if topic in self._waiting:
            self._waiting.remove(topic)
            self._waiting.appendleft(topic)

    def _drop_oldest(self) -> None:
        for index, waiting in enumerate(self._waiting):
            if not isinstance(waiting, str):
                del self._waiting[index]
                self._passing -= 1
                self.dropped += 1
                return


def _is_expired(message: Message, now_ns: int) -> bool:
    if message.expiry_s is None:
        return False
    return now_ns - message.put_ns >= message.expiry_s * SECOND_NS
