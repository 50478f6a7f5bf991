"""Cuts frames from the octets that an oximeter sends. Pure."""

from linetender_drivers.errors import BadFrame, FailureReason
from linetender_drivers.oximeter.packet_description import (
    Checksum,
    ChecksumKind,
    Frame,
    HeaderLength,
)


def checksum_of(octets: bytes | bytearray, how: Checksum) -> int:
    """Return the checksum over all of some octets.

    Source: CRC-8 most significant bit first, as in common use; checked in the tests
    against published check values.
    """
    covered = octets[how.first :]
    if how.kind is ChecksumKind.SUM8:
        return sum(covered) & 0xFF
    crc = how.init or 0
    for octet in covered:
        crc ^= octet
        if how.kind is ChecksumKind.CRC8:
            for _ in range(8):
                crc = (crc << 1) ^ (how.poly or 0) if crc & 0x80 else crc << 1
                crc &= 0xFF
    return crc


class FrameCutter:
    """Joins notifications and cuts them into frames.

    A frame may come in pieces, several may come at once, and what is no frame between
    them is skipped octet by octet. A frame with a wrong checksum is never given.

    Args:
        device: Name of the oximeter, for errors.
        frame: How frames look.
    """

    def __init__(self, device: str, frame: Frame) -> None:
        self._device = device
        self._frame = frame
        self._joined = bytearray()
        self._sync_octets = 1 + max((bits.byte for bits in frame.sync), default=-1)

    def feed(self, notification: bytes) -> list[bytes]:
        """Take a notification; return the frames that are complete with it.

        Raises:
            BadFrame: what looked like a frame had a wrong checksum or length, and no
                good frame came with it.
        """
        if not self._frame.sync:
            return [self._whole(notification)]
        self._joined += notification
        frames: list[bytes] = []
        wrong: BadFrame | None = None
        while (length := self._length_here()) is not None:
            candidate = bytes(self._joined[:length])
            if length and self._is_sound(candidate):
                frames.append(candidate)
                del self._joined[:length]
                continue
            if length:
                wrong = self._wrong_checksum(candidate)
            del self._joined[:1]
        if wrong is not None and not frames:
            raise wrong
        return frames

    def _length_here(self) -> int | None:
        """Return the length of the frame that begins here; 0: none does; None: wait."""
        if len(self._joined) < self._sync_octets:
            return None
        if not all(bits.are_in(self._joined) for bits in self._frame.sync):
            return 0
        length = self._frame.length
        if isinstance(length, HeaderLength):
            if len(self._joined) <= length.byte:
                return None
            said = _said_length(self._joined, length)
            if not self._sync_octets <= said <= length.at_most:
                return 0
            length = said
        return length if len(self._joined) >= length else None

    def _whole(self, notification: bytes) -> bytes:
        length = self._frame.length
        if isinstance(length, HeaderLength):
            has_length = len(notification) > length.byte
            length = _said_length(notification, length) if has_length else length.byte + 1
        if len(notification) != length:
            raise BadFrame(
                self._device,
                f"{len(notification)} octets came where the description expects {length}",
                notification,
            )
        if not self._is_sound(notification):
            raise self._wrong_checksum(notification)
        return notification

    def _is_sound(self, candidate: bytes) -> bool:
        how = self._frame.checksum
        if how.kind is ChecksumKind.NONE:
            return True
        return len(candidate) > 1 and checksum_of(candidate[:-1], how) == candidate[-1]

    def _wrong_checksum(self, candidate: bytes) -> BadFrame:
        kind = self._frame.checksum.kind
        return BadFrame(
            self._device, f"its {kind} does not match", candidate, FailureReason.BAD_CRC
        )


def _said_length(octets: bytes | bytearray, length: HeaderLength) -> int:
    return (octets[length.byte] & length.mask) + length.add
