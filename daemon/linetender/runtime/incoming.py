"""What comes from the broker: handed from its thread to an event loop, bounded."""

import asyncio
import contextlib
import threading
from collections import deque
from collections.abc import AsyncGenerator, Callable
from dataclasses import dataclass
from typing import NamedTuple

WAITING = 200
"""Messages that may wait for the loop; beyond this the oldest go (chosen)."""

LARGEST_BYTES = 65_536
"""A larger payload is given up at once."""


class Received(NamedTuple):
    """One message.

    Attributes:
        topic: Where it was published.
        payload: What.
        retained: Whether it was published to be kept.
    """

    topic: str
    payload: bytes
    retained: bool


class Wanted(NamedTuple):
    """One subscription.

    Attributes:
        filter: Topics, with `+` for any level.
        qos: 0 or 1.
        kept: Whether what the broker has kept is wanted too.
    """

    filter: str
    qos: int = 1
    kept: bool = False


def _nobody(_: Received) -> None:
    """Take no message."""


def _nothing() -> None:
    """Do nothing."""


def _unasked(_topic: str, _reason: int) -> None:
    """Mind no answer."""


@dataclass(frozen=True)
class Reception:
    """What a link subscribes to, and who is told. All are called on the link's thread.

    Attributes:
        topics: What is wanted.
        receive: Given each message.
        answered: Given topic and reason code of each publish that the broker answered.
        connected: Called whenever the broker has accepted the connection.
        expects_refusal: Topics that the broker should refuse: no fault when it does.
    """

    topics: tuple[Wanted, ...] = ()
    receive: Callable[[Received], None] = _nobody
    answered: Callable[[str, int], None] = _unasked
    connected: Callable[[], None] = _nothing
    expects_refusal: frozenset[str] = frozenset()


class Incoming:
    """A bounded queue from a link's thread to whoever takes from it.

    Attributes:
        dropped: Messages given up: too large, or too many at once.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._waiting: deque[Received] = deque()
        self._wake: Callable[[], None] | None = None
        self.dropped = 0

    async def each(self) -> AsyncGenerator[Received, None]:
        """Yield every message, for ever, on the running loop."""
        filled = asyncio.Event()
        loop = asyncio.get_running_loop()
        self._wake = lambda: _set_on(loop, filled)
        try:
            while True:
                filled.clear()
                for received in self.take():
                    yield received
                await filled.wait()
        finally:
            self._wake = None

    def put(self, received: Received) -> None:
        """Add a message; never waits."""
        with self._lock:
            if len(received.payload) > LARGEST_BYTES:
                self.dropped += 1
                return
            self._waiting.append(received)
            if len(self._waiting) > WAITING:
                self._waiting.popleft()
                self.dropped += 1
            wake = self._wake
        if wake is not None:
            wake()

    def take(self) -> list[Received]:
        """Return all that waits, oldest first."""
        with self._lock:
            taken = list(self._waiting)
            self._waiting.clear()
        return taken


def _set_on(loop: asyncio.AbstractEventLoop, filled: asyncio.Event) -> None:
    with contextlib.suppress(RuntimeError):  # the loop has ended: nobody takes anything any more
        loop.call_soon_threadsafe(filled.set)
