"""A simulated D6F-PH chip, down to its registers and times.

Built from public drivers of the part. Not simulated: its memory, its hardware reset, and
the flags that report overflow.
"""

from collections.abc import Callable

from linetender_drivers.crc_words import crc8
from linetender_drivers.pressure.d6f_ph_decode import (
    CRC_START,
    RANGES,
    SPAN_COUNTS,
    TEMPERATURE_COUNTS_PER_C,
    TEMPERATURE_ZERO_COUNTS,
    ZERO_COUNTS,
)
from linetender_drivers.simulated.i2c_bus import NotAcknowledged

MEASURE_NS = 33_000_000

INITIALISE = b"\x0b\x00"
WRITE_CONTROL = bytes.fromhex("00D04018")
WRITE_CRC_CONTROL = bytes.fromhex("00D04918")
START_MEASURING = 0x06
CRC_BIT = 0x02
POINTERS = {bytes.fromhex("00D0512C"): "pressure", bytes.fromhex("00D0612C"): "temperature"}
BUFFER = b"\x07"


class D6fPhChip:
    """The chip as after power-up; implements `i2c_bus.SimulatedChip`.

    Args:
        product: Its part number up to the range, e.g. `D6F-PH0505`.

    Attributes:
        pressure_pa: Differential pressure (Pa) at a time (ns). Set it at will.
        temperature_c: Temperature (°C) of the chip at a time (ns).
    """

    def __init__(self, product: str = "D6F-PH5050") -> None:
        self.pressure_pa: Callable[[int], float] = lambda _: 0.0
        self.temperature_c: Callable[[int], float] = lambda _: 25.0
        self._range = RANGES[product]
        self.power_cycle()

    def power_cycle(self) -> None:
        """Lose power and get it back: the chip must be initialised anew."""
        self._initialised = False
        self._with_crc = False
        self._busy_until_ns = 0
        self._results = {"pressure": 0, "temperature": 0}
        self._pointer = "pressure"
        self._buffer_asked = False

    def write(self, data: bytes, now_ns: int) -> None:
        """Take a register access.

        Raises:
            NotAcknowledged: it is none the chip knows, or the chip measures.
        """
        if now_ns < self._busy_until_ns:
            raise NotAcknowledged
        self._buffer_asked = data == BUFFER
        if self._buffer_asked:
            return
        if data == INITIALISE:
            self._initialised = True
        elif data[:-1] == WRITE_CRC_CONTROL:
            self._with_crc = bool(data[-1] & CRC_BIT)
        elif data in POINTERS:
            self._pointer = POINTERS[data]
        elif data[:-1] == WRITE_CONTROL and data[-1] == START_MEASURING and self._initialised:
            self._measure(now_ns)
        else:
            raise NotAcknowledged

    def read(self, length: int, now_ns: int) -> bytes:
        """Give the result that the pointer is at, followed by 0xFF if more is read.

        Raises:
            NotAcknowledged: the buffer was not asked for, or the chip measures.
        """
        if not self._buffer_asked or now_ns < self._busy_until_ns:
            raise NotAcknowledged
        word = self._results[self._pointer].to_bytes(2, "big")
        answer = word + bytes([crc8(word, CRC_START)]) if self._with_crc else word
        return answer[:length].ljust(length, b"\xff")

    def _measure(self, now_ns: int) -> None:
        self._busy_until_ns = now_ns + MEASURE_NS
        part = (self.pressure_pa(now_ns) - self._range.low_pa) / self._range.span_pa
        celsius = self.temperature_c(now_ns)
        self._results = {
            "pressure": _word(ZERO_COUNTS + part * SPAN_COUNTS),
            "temperature": _word(TEMPERATURE_ZERO_COUNTS + celsius * TEMPERATURE_COUNTS_PER_C),
        }


def _word(counts: float) -> int:
    """Round to 16 bits; the converter saturates."""
    return max(0, min(0xFFFF, round(counts)))
