"""Reads a recording piece by piece and vouches for what it yields."""

import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from stat import S_ISREG
from typing import Any, BinaryIO, NamedTuple, get_args

import msgspec

from linetender.core.events import Event
from linetender.core.inputs import Input, Reading, fault_of
from linetender.core.instants import NEVER_NS
from linetender.core.plan_faults import fault_of_plan
from linetender.recording.chain import DAMAGED, Chain, Group
from linetender.recording.compression import pieces_of
from linetender.recording.errors import Fault, RecordingError
from linetender.recording.lines import SCHEMA, Check, End, Frame, Line, Segment

PIECE_BYTES = 1 << 17
"""Read at once. Chosen by measuring: larger and smaller pieces are slower."""

UNCHECKED_BYTES = 1 << 24
"""More than this without a check line is no recording: one second of a session takes
about 3 kB, a header with a large station 100 kB. Chosen, to bound the memory."""

_HEADER_START = b'{"is":"segment",'
_WRONG_FILE = "Name a file that `--record` or `run` wrote"
_INPUTS: frozenset[type] = frozenset(get_args(Input))
_EVENTS: frozenset[type] = frozenset(get_args(Event))

_decode_segment = msgspec.json.Decoder(Segment).decode
_decode_line: Callable[[bytes], object] = msgspec.json.Decoder(Line).decode
_decode_lines: Callable[[memoryview], list[Any]] = msgspec.json.Decoder(Line).decode_lines


class _Stamp(msgspec.Struct, tag_field="is", tag="segment"):
    """What is read of a header before anything else of it is believed."""

    schema: int
    software: str


_decode_stamp = msgspec.json.Decoder(_Stamp).decode


class Block(msgspec.Struct, frozen=True, gc=False):
    """What one check line covers.

    Attributes:
        inputs: In the order in which the core was fed.
        events: In the order in which the core made them. How they stand among the
            inputs of a block means nothing.
        end: The line that closes the segment, or None.
        until_ns: The time to which the Watch had advanced at the check line.
        line: Number of the block's first line in the file, counted from 1.
        offset: Its first byte, counted from 0.
        frames: What devices answered, in the order of arrival, where that was recorded.
    """

    inputs: list[Input]
    events: list[Event]
    end: End | None
    until_ns: int
    line: int
    offset: int
    frames: tuple[Frame, ...] = ()


class TornTail(NamedTuple):
    """What follows the last check line: nothing vouches for it, so it counts as lost.

    Attributes:
        lines: How many, the last of them perhaps in part.
        line: Number of the first one in the file.
        offset: Its first byte.
        until_ns: The recording is whole up to this Watch time.
    """

    lines: int
    line: int
    offset: int
    until_ns: int


class RecordingReader:
    """One recording, read from front to back in bounded memory.

    Attributes:
        path: The file.
        size_bytes: Its size, known once `parts()` has begun.
        line: Number of the line of the last header yielded, counted from 1.
        offset: Its first byte.
        tail: Known once `parts()` has ended; None if the file ends in a check line.
        ended: Known then, too: whether the last segment was closed in good order.
    """

    def __init__(
        self, path: Path | str, told: Callable[[int], None] = lambda bytes_read: None
    ) -> None:
        """Open nothing yet.

        Args:
            path: The file.
            told: Called after each piece with the number of bytes read so far.
        """
        self.path = Path(path)
        self.size_bytes = 0
        self.line = 1
        self.offset = 0
        self.tail: TornTail | None = None
        self.ended = False
        self._told = told
        self._until_ns = 0

    def parts(self) -> Iterator[Segment | Block]:
        """Yield each header, followed by the blocks of its segment.

        Raises:
            RecordingError: the file cannot be read, is no recording, or is damaged
                somewhere before its end. All that was yielded until then is sound.
        """
        try:
            if not S_ISREG(self.path.stat().st_mode):
                raise RecordingError(
                    Fault.UNREADABLE, self.path, "this is not a regular file", _WRONG_FILE
                )
            with self.path.open("rb") as file:
                self.size_bytes = file.seek(0, 2)
                file.seek(0)
                yield from self._parts_of(file)
        except zlib.error as error:
            what = f"the compressed data is damaged: {error}"
            raise RecordingError(Fault.ALTERED, self.path, what, DAMAGED) from error
        except OSError as error:
            what = (error.strerror or str(error)).lower()
            raise RecordingError(Fault.UNREADABLE, self.path, what, _WRONG_FILE) from error

    def _parts_of(self, file: BinaryIO) -> Iterator[Segment | Block]:
        chain = Chain(self.path)
        rest = b""
        for read in pieces_of(file, PIECE_BYTES):
            piece = rest + read
            if chain.offset == 0:
                self._expect_beginning(piece)
            groups = chain.groups_in(piece)
            yield from self._parts_in(piece, groups)
            rest = piece[groups[-1].end :] if groups else piece
            if len(rest) > UNCHECKED_BYTES:
                raise RecordingError(
                    Fault.NOT_A_RECORDING,
                    self.path,
                    f"no check line in the {len(rest)} bytes from here on",
                    DAMAGED,
                    line=chain.line,
                    offset=chain.offset,
                )
            self._told(file.tell())
        self._finish(chain, rest)

    def _expect_beginning(self, piece: bytes) -> None:
        if not (piece.startswith(_HEADER_START) or _HEADER_START.startswith(piece)):
            what = f"this is no recording: it does not begin with {_HEADER_START.decode()}"
            raise RecordingError(Fault.NOT_A_RECORDING, self.path, what, _WRONG_FILE)

    def _finish(self, chain: Chain, rest: bytes) -> None:
        if chain.offset == 0:
            fault, what = (
                (Fault.TORN_HEADER, "the file breaks off before its first check line")
                if rest
                else (Fault.EMPTY, "the file is empty")
            )
            remedy = "Nothing can be read from it: the session ended as it began"
            raise RecordingError(fault, self.path, what, remedy)
        if rest:
            lines = rest.count(b"\n") + (not rest.endswith(b"\n"))
            self.tail = TornTail(lines, chain.line, chain.offset, self._until_ns)
            self.ended = False

    def _parts_in(self, piece: bytes, groups: list[Group]) -> Iterator[Segment | Block]:
        """Decode headers one by one, and all that stands between two of them at once."""
        first = 0
        for place, group in enumerate(groups):
            if piece.startswith(_HEADER_START, group.start):
                yield from self._blocks_in(piece, groups[first:place])
                yield self._header_in(piece, group)
                first = place + 1
        yield from self._blocks_in(piece, groups[first:])

    def _header_in(self, piece: bytes, group: Group) -> Segment:
        text = piece[group.start : group.check_start - 1]
        try:
            stamp = _decode_stamp(text)
            if stamp.schema > SCHEMA:
                raise self._newer(group, stamp)
            header = _decode_segment(text)
        except (ValueError, RecursionError) as error:
            raise self._bad(group, f"the header cannot be understood: {error}") from error
        if not 0 <= header.started_ns <= NEVER_NS:
            fault: str | None = f"started_ns is {header.started_ns}; 0 to {NEVER_NS} was expected"
        elif group.check.lines != 1 or group.check.until_ns != header.started_ns:
            fault = "a check line of its own, until its started_ns, was expected after it"
        else:
            fault = fault_of_plan(header.plan)
        if fault:
            raise self._bad(group, f"the header: {fault}")
        self.line, self.offset = group.line, group.offset
        self._until_ns = header.started_ns
        self.ended = False
        return header

    def _blocks_in(self, piece: bytes, groups: list[Group]) -> Iterator[Block]:
        if not groups:
            return
        try:
            lines = _decode_lines(memoryview(piece)[groups[0].start : groups[-1].end])
        except (ValueError, RecursionError) as error:
            raise self._bad_line_in(piece, groups, str(error)) from error
        reading = Reading  # Local: this is done for each line.
        for line in lines:
            if type(line) is reading and (line.value is None or line.reason is not None):
                fault = fault_of(line)
                if fault:
                    raise self._bad_line_in(piece, groups, fault)
        start = 0
        for group in groups:
            stop = start + group.check.lines
            if len(lines) <= stop or type(lines[stop]) is not Check:
                raise self._bad(group, "a blank line, or more than one thing on a line")
            yield self._block_of(lines[start:stop], group)
            start = stop + 1

    def _block_of(self, lines: list[Any], group: Group) -> Block:
        until_ns = group.check.until_ns
        if not self._until_ns <= until_ns <= NEVER_NS:
            raise self._bad(group, f"the check line goes from {self._until_ns} to {until_ns} ns")
        if self.ended:
            raise self._bad(group, "lines follow after the end of the segment")
        self._until_ns = until_ns
        if _INPUTS.issuperset(map(type, lines)):
            return Block(lines, [], None, until_ns, group.line, group.offset)
        end = lines.pop() if type(lines[-1]) is End else None
        inputs = [line for line in lines if type(line) in _INPUTS]
        events = [line for line in lines if type(line) in _EVENTS]
        frames = tuple(line for line in lines if type(line) is Frame)
        if len(inputs) + len(events) + len(frames) < len(lines):
            raise self._bad(group, "a header, check or end line stands where none may")
        self.ended = end is not None
        return Block(inputs, events, end, until_ns, group.line, group.offset, frames)

    def _bad_line_in(self, piece: bytes, groups: list[Group], what: str) -> RecordingError:
        """Find the line that cannot be decoded, for the message."""
        line, offset = groups[0].line, groups[0].offset
        for text in piece[groups[0].start : groups[-1].end].splitlines(keepends=True):
            try:
                decoded = _decode_line(text)
                fault = fault_of(decoded) if isinstance(decoded, Reading) else None
            except (ValueError, RecursionError) as error:
                fault = str(error)
            if fault:
                what = fault
                break
            line, offset = line + 1, offset + len(text)
        return RecordingError(
            Fault.BAD_LINE,
            self.path,
            f"this line cannot be understood: {what}",
            DAMAGED,
            line=line,
            offset=offset,
        )

    def _bad(self, group: Group, what: str) -> RecordingError:
        return RecordingError(
            Fault.BAD_LINE, self.path, what, DAMAGED, line=group.line, offset=group.offset
        )

    def _newer(self, group: Group, stamp: _Stamp) -> RecordingError:
        return RecordingError(
            Fault.NEWER_SCHEMA,
            self.path,
            f"linetender {stamp.software} wrote this with schema {stamp.schema}; "
            f"this version reads up to schema {SCHEMA}",
            "Read it with that version or a newer one",
            line=group.line,
            offset=group.offset,
        )
