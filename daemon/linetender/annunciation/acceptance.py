"""Whether a message from afar counts: fresh, for this run, in a sender's own order.

No clock is compared. A sender says which heartbeat of the station it heard last, so
what is replayed, delayed or meant for another run shows. Who sent a message is its
topic, which the broker's access list guards.
"""

from collections import OrderedDict
from collections.abc import Callable
from enum import StrEnum
from typing import Generic, Protocol, TypeVar

import msgspec

from linetender.annunciation.far_payloads import LARGEST_BYTES

FRESH_BEATS = 5
"""A message whose sender last heard an older heartbeat is stale: 5 s at one a second."""

RATE = 10
"""Messages of one sender that count within `FRESH_BEATS` heartbeats (chosen)."""

SENDERS = 32
"""Senders, and starts of each, that are remembered; the oldest are forgotten (chosen)."""


class Refusal(StrEnum):
    """Why a message does not count."""

    RETAINED = "it was kept by the broker: nobody sends it now"
    TOO_LARGE = "it is too large"
    GARBLED = "it is not what was expected"
    OTHER_RUN = "it is meant for another run of the station"
    STALE = "its sender has not heard the station for too long"
    REPEATED = "its count has not risen"
    TOO_MANY = "its sender sends too many"


class FromAfar(Protocol):
    """What every message from afar says."""

    @property
    def run(self) -> str:
        """The run of the station it is meant for."""

    @property
    def heard(self) -> int:
        """The last heartbeat that its sender received."""


class Counted(FromAfar, Protocol):
    """A message that asks for something, and so must not be taken twice."""

    @property
    def sender(self) -> str:
        """Drawn at the start of its sender."""

    @property
    def count(self) -> int:
        """Rises with each message of that sender."""


T = TypeVar("T", bound=FromAfar)
C = TypeVar("C", bound=Counted)
V = TypeVar("V")


def read(payload: bytes, retained: bool, shape: type[T]) -> T | Refusal:
    """Decode a message; the one way in for bytes from afar."""
    if retained:
        return Refusal.RETAINED
    if len(payload) > LARGEST_BYTES:
        return Refusal.TOO_LARGE
    try:
        return msgspec.json.decode(payload, type=shape)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return Refusal.GARBLED


def stale(message: FromAfar, run: str, beat: int) -> Refusal | None:
    """Say why a message is not of here and now, or None.

    Args:
        message: What came.
        run: This run of the station.
        beat: The station's own last heartbeat.
    """
    if message.run != run:
        return Refusal.OTHER_RUN
    if not beat - FRESH_BEATS <= message.heard <= beat:
        return Refusal.STALE
    return None


class Acceptance(Generic[C]):
    """Takes messages that ask for something, each at most once.

    Args:
        run: This run of the station.
        shape: What a message must be.
        excused: Which messages count though their sender has not heard the station for
            long: a call for help. Run and count must be right all the same.
    """

    def __init__(
        self, run: str, shape: type[C], excused: Callable[[C], bool] = lambda _: False
    ) -> None:
        self._run = run
        self._shape = shape
        self._excused = excused
        self._counts: OrderedDict[str, OrderedDict[str, int]] = OrderedDict()
        self._beats: OrderedDict[str, list[int]] = OrderedDict()

    def take(self, who: str, payload: bytes, *, retained: bool, beat: int) -> C | Refusal:
        """Return the message, or why it does not count.

        Args:
            who: Its sender, by its topic.
            payload: What came.
            retained: Whether the broker had kept it (by a subscription that says so).
            beat: The station's own last heartbeat.
        """
        message = read(payload, retained, self._shape)
        if isinstance(message, Refusal):
            return message
        refusal = stale(message, self._run, beat)
        if refusal is Refusal.STALE and self._excused(message):
            refusal = None
        return refusal or self._repeated(who, message) or self._too_many(who, beat) or message

    def _repeated(self, who: str, message: Counted) -> Refusal | None:
        counts = _remembered(self._counts, who, OrderedDict[str, int]())
        last = _remembered(counts, message.sender, -1)
        if message.count <= last:
            return Refusal.REPEATED
        counts[message.sender] = message.count
        return None

    def _too_many(self, who: str, beat: int) -> Refusal | None:
        beats = _remembered(self._beats, who, list[int]())
        recent = [at for at in beats if at > beat - FRESH_BEATS]
        if len(recent) >= RATE:
            return Refusal.TOO_MANY
        self._beats[who] = [*recent, beat]
        return None


def _remembered(table: OrderedDict[str, V], key: str, otherwise: V) -> V:
    """Return what a table holds, as its newest entry; the oldest goes when it is full."""
    found = table.setdefault(key, otherwise)
    table.move_to_end(key)
    if len(table) > SENDERS:
        table.popitem(last=False)
    return found
