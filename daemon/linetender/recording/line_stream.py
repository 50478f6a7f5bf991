"""Forms the bytes of a recording. Pure: the same calls give the same bytes."""

import zlib
from collections.abc import Iterable

import msgspec

from linetender.core.events import Event
from linetender.core.inputs import Input
from linetender.core.instants import SECOND_NS
from linetender.recording.lines import End, EndReason, Frame, Segment

CHECK_INTERVAL_NS = SECOND_NS
"""A check line comes with the first advance in each new second of Watch time. Chosen:
what stands after the last check line is lost in a power cut, and a second is short;
at 28 lines a second the check line adds 4 % to the file."""


class LineStream:
    """Turns what a session does into bytes to append, one piece per check line.

    The order of calls is that of the loop: `segment`, then for each block `inputs`,
    the `events` they made, and `advance` with the time to which the Watch went.
    Each call that returns bytes returns whole lines that end in a check line.
    """

    def __init__(self) -> None:
        self._encoder = msgspec.json.Encoder()
        self._waiting: list[Segment | Frame | Input | Event | End] = []
        self._crc = 0
        self._until_ns = 0
        self._next_check_ns = 0

    def segment(self, header: Segment) -> bytes:
        """Begin a segment; its header gets a check line of its own."""
        before = self._checked(self._until_ns) if self._waiting else b""
        self._waiting.append(header)
        self._next_check_ns = _next_check_ns(header.started_ns)
        return before + self._checked(header.started_ns)

    def frames(self, arrived: Iterable[Frame]) -> None:
        """Take answers of devices, before the inputs that were made of them."""
        self._waiting.extend(arrived)

    def inputs(self, block: Iterable[Input]) -> None:
        """Take inputs, in the order in which the Watch was fed."""
        self._waiting.extend(block)

    def events(self, made: tuple[Event, ...]) -> None:
        """Take events, in the order in which the Watch made them."""
        self._waiting.extend(made)

    def advance(self, until_ns: int) -> bytes:
        """Note that the Watch advanced; empty unless a check line is due."""
        self._until_ns = until_ns
        if until_ns < self._next_check_ns:
            return b""
        self._next_check_ns = _next_check_ns(until_ns)
        return self._checked(until_ns)

    def end(self, until_ns: int, why: EndReason) -> bytes:
        """Close the segment in good order."""
        self._waiting.append(End(until_ns, why))
        return self._checked(until_ns)

    def _checked(self, until_ns: int) -> bytes:
        self._until_ns = until_ns
        head = b'%b{"is":"check","lines":%d,"until_ns":%d,"crc32":"' % (
            self._encoder.encode_lines(self._waiting),
            len(self._waiting),
            until_ns,
        )
        self._waiting.clear()
        crc = zlib.crc32(head, self._crc)
        piece = b'%b%08x"}\n' % (head, crc)
        self._crc = zlib.crc32(piece[len(head) :], crc)
        return piece


def _next_check_ns(after_ns: int) -> int:
    return (after_ns // CHECK_INTERVAL_NS + 1) * CHECK_INTERVAL_NS
