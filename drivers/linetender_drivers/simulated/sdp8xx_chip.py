"""A simulated SDP8xx or SDP3x chip, down to its registers and times.

Built from what the sensor maker's Python driver `sensirion-i2c-sdp` says of commands
and times, so that any driver of the part can read it. Not simulated: sleep, soft reset
and the triggered commands that stretch the clock (the chip refuses them), the averaging (a
result is the pressure at the instant of reading), and what the temperature does to the
difference between mass flow and pressure: in both modes the chip reads the same.

The real chip senses a mass flow through itself and is calibrated at 966 hPa: in air of
pressure p it reads the true differential pressure times p / 966 hPa.
"""

import struct
from collections.abc import Callable
from enum import Enum, auto
from functools import cache

from linetender_drivers.crc_words import with_crcs
from linetender_drivers.pressure.sdp8xx_decode import PRODUCTS, TEMPERATURE_SCALE
from linetender_drivers.simulated.i2c_bus import NotAcknowledged

CALIBRATION_PRESSURE_PA = 96_600.0
"""Ambient pressure at which a reading is the true differential pressure."""

START_COMMANDS = frozenset(
    {
        0x3603,  # mass flow, averaging
        0x3608,  # mass flow
        0x3615,  # differential pressure, averaging
        0x361E,  # differential pressure
    }
)
TRIGGER_COMMANDS = frozenset({0x3624, 0x362F})  # mass flow, differential pressure
STOP_COMMAND = 0x3FF9
PREPARE_IDENTIFIER_COMMAND = 0x367C
READ_IDENTIFIER_COMMAND = 0xE102

FIRST_RESULT_NS = 8_000_000
TRIGGERED_RESULT_NS = 45_000_000
AFTER_STOP_NS = 500_000
RESULT_PERIOD_NS = 500_000

INVENTED_SERIAL_NUMBER = 0x0000_0000_1234_5678
REVISION = 0x01


class _Mode(Enum):
    IDLE = auto()
    CONTINUOUS = auto()
    TRIGGERED = auto()
    IDENTIFIER_PREPARED = auto()
    IDENTIFIER_READY = auto()


class Sdp8xxChip:
    """The chip, idle as after power-up; implements `i2c_bus.SimulatedChip`.

    Args:
        product: Its part number with range, e.g. `SDP810-500Pa`.
        serial_number: 64 bits.

    Attributes:
        pressure_pa: True differential pressure (Pa) at a time (ns). Set it at will.
        temperature_c: Temperature (°C) of the chip at a time (ns).
        ambient_pressure_pa: Pressure (Pa) of the air around at a time (ns).

    Raises:
        ValueError: there is no such part.
    """

    def __init__(
        self, product: str = "SDP810-500Pa", serial_number: int = INVENTED_SERIAL_NUMBER
    ) -> None:
        numbers = {part.name: number for number, part in PRODUCTS.items()}
        if product not in numbers:
            raise ValueError(f"no part is called {product!r}; known: {', '.join(numbers)}")
        self.pressure_pa: Callable[[int], float] = lambda _: 0.0
        self.temperature_c: Callable[[int], float] = lambda _: 25.0
        self.ambient_pressure_pa: Callable[[int], float] = lambda _: CALIBRATION_PRESSURE_PA
        number = numbers[product] << 8 | REVISION
        self._identifier = with_crcs(struct.pack(">IQ", number, serial_number))
        self._scale = PRODUCTS[numbers[product]].scale
        self._mode = _Mode.IDLE
        self._ready_ns = 0

    def power_cycle(self) -> None:
        """Lose power and get it back: the chip forgets that it was measuring."""
        self._mode = _Mode.IDLE
        self._ready_ns = 0

    def write(self, data: bytes, now_ns: int) -> None:
        """Take a command of two bytes.

        Raises:
            NotAcknowledged: it is no command, or none that the chip takes now: while it
                measures it takes only stop, and after that nothing for 0.5 ms.
        """
        command = int.from_bytes(data, "big") if len(data) == 2 else None
        if self._mode is _Mode.CONTINUOUS:
            if command != STOP_COMMAND:
                raise NotAcknowledged
        elif now_ns < self._ready_ns:
            raise NotAcknowledged
        self._obey(command, now_ns)

    def read(self, length: int, now_ns: int) -> bytes:
        """Give the result or the identifier, followed by 0xFF if more is read.

        Raises:
            NotAcknowledged: there is no result, or no new one, yet.
        """
        if self._mode is _Mode.IDENTIFIER_READY:
            answer = self._identifier
            self._mode = _Mode.IDLE
        elif self._mode in (_Mode.CONTINUOUS, _Mode.TRIGGERED) and now_ns >= self._ready_ns:
            answer = self._result(now_ns)
            if self._mode is _Mode.TRIGGERED:
                self._mode = _Mode.IDLE
            else:
                self._ready_ns = now_ns + RESULT_PERIOD_NS
        else:
            raise NotAcknowledged
        return answer[:length].ljust(length, b"\xff")

    def _obey(self, command: int | None, now_ns: int) -> None:
        if command == STOP_COMMAND:
            self._mode, self._ready_ns = _Mode.IDLE, now_ns + AFTER_STOP_NS
        elif command in START_COMMANDS:
            self._mode, self._ready_ns = _Mode.CONTINUOUS, now_ns + FIRST_RESULT_NS
        elif command in TRIGGER_COMMANDS:
            self._mode, self._ready_ns = _Mode.TRIGGERED, now_ns + TRIGGERED_RESULT_NS
        elif command == PREPARE_IDENTIFIER_COMMAND:
            self._mode = _Mode.IDENTIFIER_PREPARED
        elif command == READ_IDENTIFIER_COMMAND and self._mode is _Mode.IDENTIFIER_PREPARED:
            self._mode = _Mode.IDENTIFIER_READY
        else:
            raise NotAcknowledged

    def _result(self, now_ns: int) -> bytes:
        seen_pa = self.pressure_pa(now_ns) * (
            self.ambient_pressure_pa(now_ns) / CALIBRATION_PRESSURE_PA
        )
        return (
            _word(_counts(seen_pa * self._scale))
            + _word(_counts(self.temperature_c(now_ns) * TEMPERATURE_SCALE))
            + _word(self._scale)
        )


def _counts(value: float) -> int:
    """Round to a signed 16-bit number; the converter saturates."""
    counts = round(value)
    return counts if -32768 <= counts <= 32767 else max(-32768, min(32767, counts))


@cache
def _word(counts: int) -> bytes:
    """Return a signed 16-bit number with its CRC; nearly each of them comes again and again."""
    return with_crcs(struct.pack(">h", counts))
