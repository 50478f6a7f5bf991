"""Finds the check lines in the bytes of a recording and compares their digits."""

import zlib
from pathlib import Path

import msgspec

from linetender.recording.errors import Fault, RecordingError
from linetender.recording.lines import Check

DAMAGED = "What stands before it is sound. Keep the file as it is and look for another copy"

_CHECK_START = b'{"is":"check",'
_CHECK_AFTER_LINE = b"\n" + _CHECK_START
_DIGITS_FROM_END = len('01234567"}')

_decode_check = msgspec.json.Decoder(Check).decode


def _next_check(piece: bytes, start: int) -> int:
    """Find where the next check line begins, at `start` (a line's beginning) or after; or -1."""
    if piece.startswith(_CHECK_START, start):
        return start
    # No line of JSON holds a line feed, so this is not found within one.
    newline = piece.find(_CHECK_AFTER_LINE, start)
    return newline if newline < 0 else newline + 1


class Group(msgspec.Struct, frozen=True, gc=False):
    """A check line and the lines it covers, found to fit each other.

    Attributes:
        start: Where the first of them begins in the piece.
        check_start: Where the check line begins.
        end: Where the next group begins.
        line: Number of the first line in the file, counted from 1.
        offset: Its first byte in the file.
        check: The check line.
    """

    start: int
    check_start: int
    end: int
    line: int
    offset: int
    check: Check


class Chain:
    """Follows the running CRC of a file from piece to piece.

    Attributes:
        line: Number of the first line that no check line has vouched for yet.
        offset: Its first byte in the file.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.line = 1
        self.offset = 0
        self._crc = 0

    def groups_in(self, piece: bytes) -> list[Group]:
        """Take the groups that end in this piece; it begins at `offset`.

        Only the digits are compared: that so many lines stand there as a check line
        with the right digits says is for the one who decodes them to see.

        Raises:
            RecordingError: a check line does not fit what it covers.
        """
        groups: list[Group] = []
        view = memoryview(piece)
        base = self.offset
        start = 0
        while True:
            found = _next_check(piece, start)
            end = piece.find(b"\n", found) + 1
            if found < 0 or end == 0:
                return groups
            digits = end - 1 - _DIGITS_FROM_END
            crc = zlib.crc32(view[start:digits], self._crc)
            check = self._check_in(piece[found : end - 1])
            if piece[digits:end] != b'%08x"}\n' % crc:
                raise self._mismatch(check, piece.count(b"\n", start, found))
            groups.append(Group(start, found, end, self.line, self.offset, check))
            self._crc = zlib.crc32(view[digits:end], crc)
            self.line += check.lines + 1
            self.offset = base + end
            start = end

    def _check_in(self, text: bytes) -> Check:
        try:
            check = _decode_check(text)
        except (ValueError, RecursionError) as error:
            raise self._error(
                Fault.ALTERED, f"the check line of the lines from here on is damaged: {error}"
            ) from error
        if check.lines < 0:
            raise self._error(
                Fault.ALTERED, f"the check line from here on counts {check.lines} lines"
            )
        return check

    def _mismatch(self, check: Check, lines: int) -> RecordingError:
        found = f"the check line after the {lines} lines from here on does not fit them"
        if lines < check.lines:
            return self._error(Fault.LINES_LOST, f"{found}: {check.lines - lines} are missing")
        if lines > check.lines:
            return self._error(Fault.LINES_ADDED, f"{found}: {lines - check.lines} too many")
        return self._error(Fault.ALTERED, f"{found}: altered, or not in their order")

    def _error(self, fault: Fault, what: str) -> RecordingError:
        return RecordingError(fault, self.path, what, DAMAGED, line=self.line, offset=self.offset)
