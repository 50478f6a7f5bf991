"""A simulated ADS1115 converter, down to its registers and times.

From memory of the data sheet. Not simulated: differential inputs (they read 0), the
comparator and its alert pin, and the gains below 2.048 V.
"""

from collections.abc import Callable

from linetender_drivers.converters.ads1115_decode import (
    AGAINST_GROUND,
    GAIN_FIELDS,
    HIGHEST_CODE,
    INPUT_SHIFT,
    LOWEST_CODE,
    READY_BIT,
    RESET_CONFIGURATION,
    SINGLE_SHOT_BIT,
)
from linetender_drivers.simulated.i2c_bus import NotAcknowledged

RATES_PER_S = (8, 16, 32, 64, 128, 250, 475, 860)
GAIN_MASK = 0x0E00

CONVERSION, CONFIGURATION, LOW_THRESHOLD, HIGH_THRESHOLD = range(4)


class Ads1115Chip:
    """The chip as after power-up; implements `i2c_bus.SimulatedChip`.

    Attributes:
        inputs_v: Voltage (V) at each of the four inputs at a time (ns). Set them at will.
    """

    def __init__(self) -> None:
        self.inputs_v: list[Callable[[int], float]] = [lambda _: 0.0] * 4
        self.power_cycle()

    def power_cycle(self) -> None:
        """Lose power and get it back."""
        self._registers = {
            CONVERSION: 0,
            CONFIGURATION: RESET_CONFIGURATION & ~READY_BIT,
            LOW_THRESHOLD: 0x8000,
            HIGH_THRESHOLD: 0x7FFF,
        }
        self._pointer = CONVERSION
        self._done_ns = 0
        self._pending: int | None = None

    def write(self, data: bytes, now_ns: int) -> None:
        """Take a register's number, and its new value if two bytes follow.

        Raises:
            NotAcknowledged: there is no such register.
        """
        if data[0] > HIGH_THRESHOLD:
            raise NotAcknowledged
        self._pointer = data[0]
        if len(data) != 3 or self._pointer == CONVERSION:
            return
        word = int.from_bytes(data[1:], "big")
        if self._pointer != CONFIGURATION:
            self._registers[self._pointer] = word
            return
        self._registers[CONFIGURATION] = word & ~READY_BIT
        if word & READY_BIT or not word & SINGLE_SHOT_BIT:
            self._pending = self._code(word, now_ns)
            self._done_ns = now_ns + 1_000_000_000 // RATES_PER_S[(word >> 5) & 7]

    def read(self, length: int, now_ns: int) -> bytes:
        """Give the register that the pointer is at, followed by 0xFF if more is read."""
        if self._pending is not None and now_ns >= self._done_ns:
            self._registers[CONVERSION] = self._pending & 0xFFFF
            self._pending = None
        word = self._registers[self._pointer]
        if self._pointer == CONFIGURATION and self._pending is None:
            word |= READY_BIT
        return word.to_bytes(2, "big")[:length].ljust(length, b"\xff")

    def _code(self, word: int, now_ns: int) -> int:
        """Convert now what will be shown when the conversion is over."""
        if not word & AGAINST_GROUND:
            return 0
        fields = {field: full_scale_mv for full_scale_mv, field in GAIN_FIELDS.items()}
        full_scale_v = fields.get(word & GAIN_MASK, 2048) / 1000
        volts = self.inputs_v[(word >> INPUT_SHIFT) & 3](now_ns)
        return max(LOWEST_CODE, min(HIGHEST_CODE, round(volts / full_scale_v * -LOWEST_CODE)))
