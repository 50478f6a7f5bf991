"""Chips and a bus that are not as they should be."""

from typing import Any

from linetender_drivers.crc_words import with_crcs
from linetender_drivers.simulated.i2c_bus import NotAcknowledged, SimulatedI2cBus
from linetender_drivers.simulated.virtual_time import VirtualClock


class Stranger:
    """A chip that takes anything and answers the same word for ever."""

    def __init__(self, word: bytes, *, crc: bool) -> None:
        self._word = with_crcs(word) if crc else word

    def write(self, data: bytes, now_ns: int) -> None:
        """Take anything."""

    def read(self, length: int, now_ns: int) -> bytes:
        return (self._word * length)[:length]


class Noise:
    """A chip that takes anything and answers from a stream, over and over."""

    def __init__(self, stream: bytes) -> None:
        self._stream = stream
        self._at = 0

    def write(self, data: bytes, now_ns: int) -> None:
        """Take anything."""

    def read(self, length: int, now_ns: int) -> bytes:
        start, self._at = self._at, self._at + length
        repeats = self._at // len(self._stream) + 1
        return (self._stream * repeats)[start : self._at]


class TwoChips:
    """Two chips on one address: either acknowledges, and a 0 on the line wins."""

    def __init__(self, first: Any, second: Any) -> None:
        self._chips = (first, second)

    def write(self, data: bytes, now_ns: int) -> None:
        if not any([_took(chip, data, now_ns) for chip in self._chips]):
            raise NotAcknowledged

    def read(self, length: int, now_ns: int) -> bytes:
        answers = [answer for chip in self._chips if (answer := _gave(chip, length, now_ns))]
        if not answers:
            raise NotAcknowledged
        return bytes(a & b for a, b in zip(answers[0], answers[-1], strict=True))


def _took(chip: Any, data: bytes, now_ns: int) -> bool:
    try:
        chip.write(data, now_ns)
    except NotAcknowledged:
        return False
    return True


def _gave(chip: Any, length: int, now_ns: int) -> bytes | None:
    try:
        answer: bytes = chip.read(length, now_ns)
    except NotAcknowledged:
        return None
    return answer


class FlippingBus(SimulatedI2cBus):
    """A bus that flips one bit of one answer.

    Attributes:
        answers: The lengths of all that have been read.
        flip: Which answer: its length, which of those of that length from 0, and which of
            its bits; None for none.
    """

    def __init__(self, clock: VirtualClock) -> None:
        super().__init__(clock)
        self.answers: list[int] = []
        self.flip: tuple[int, int, int] | None = None

    async def transfer(self, address: int, write: bytes, read_n: int) -> bytes:
        answer = await super().transfer(address, write, read_n)
        if not read_n:
            return answer
        if self.flip is not None and self.flip[:2] == (read_n, self.answers.count(read_n)):
            byte, bit = divmod(self.flip[2], 8)
            damaged = bytearray(answer)
            damaged[byte] ^= 0x80 >> bit
            answer = bytes(damaged)
        self.answers.append(read_n)
        return answer
