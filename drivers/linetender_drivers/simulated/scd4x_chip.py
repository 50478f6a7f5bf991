"""A simulated SCD4x chip, down to its commands and times.

Built from the maker's Python driver. Simulated with their danger: forced recalibration
and the writing of its memory, whose commands a pressure sensor takes for something
harmless. Not simulated: low power, single shots, offsets, power-down, and the effect of
the ambient pressure.
"""

import struct
from collections.abc import Callable

from linetender_drivers.crc_words import crc8, with_crcs
from linetender_drivers.simulated.i2c_bus import NotAcknowledged

NS_PER_S = 1_000_000_000
PERIOD_NS = 5 * NS_PER_S
AFTER_STOP_NS = NS_PER_S // 2
ANSWER_NS = 1_000_000
PERSIST_NS = 800_000_000
RECALIBRATION_NS = 400_000_000

SERIAL_NUMBER, START, STOP, READY, READ = 0x3682, 0x21B1, 0x3F86, 0xE4B8, 0xEC05
AMBIENT_PRESSURE, GET_SELF_CALIBRATION, SET_SELF_CALIBRATION = 0xE000, 0x2313, 0x2416
PERSIST, FORCED_RECALIBRATION = 0x3615, 0x362F

WHILE_MEASURING = frozenset({STOP, READY, READ, AMBIENT_PRESSURE})
IS_READY = 0x8006
NOT_READY = 0x8000

INVENTED_SERIAL_NUMBER = 0x1234_5678_9ABC


class Scd4xChip:
    """The chip, idle as after power-up; implements `i2c_bus.SimulatedChip`.

    Attributes:
        co2_ppm: Carbon dioxide (ppm) at a time (ns). Set it at will.
        temperature_c: Temperature (°C) at a time (ns).
        humidity_percent: Relative humidity (%) at a time (ns).
        self_calibration: 1 when on, as after power-up.
        ambient_pressure_hpa: As last told; 0 for not told.
        memory_writes: How often its lasting memory was written.
        recalibrations: How often it was recalibrated by force.
    """

    def __init__(self, serial_number: int = INVENTED_SERIAL_NUMBER) -> None:
        self.co2_ppm: Callable[[int], float] = lambda _: 420.0
        self.temperature_c: Callable[[int], float] = lambda _: 25.0
        self.humidity_percent: Callable[[int], float] = lambda _: 50.0
        self.memory_writes = 0
        self.recalibrations = 0
        self._serial_number = serial_number
        self.power_cycle()

    def power_cycle(self) -> None:
        """Lose power and get it back: idle, with self-calibration on."""
        self.self_calibration = 1
        self.ambient_pressure_hpa = 0
        self._due_ns: int | None = None
        self._result: bytes | None = None
        self._answer: Callable[[], bytes] | None = None
        self._free_ns = 0

    def write(self, data: bytes, now_ns: int) -> None:
        """Take a command, with its argument and CRC if three more bytes follow.

        Raises:
            NotAcknowledged: it is no command or none that the chip takes now, its CRC is
                wrong, or the chip is busy.
        """
        if len(data) not in (2, 5) or (len(data) == 5 and crc8(data[2:4]) != data[4]):
            raise NotAcknowledged
        command = int.from_bytes(data[:2], "big")
        measures = self._due_ns is not None
        if now_ns < self._free_ns or (measures and command not in WHILE_MEASURING):
            raise NotAcknowledged
        self._answer = None
        if len(data) == 5:
            self._set(command, int.from_bytes(data[2:4], "big"), now_ns)
        else:
            self._obey(command, now_ns)

    def read(self, length: int, now_ns: int) -> bytes:
        """Give the answer to the last command, followed by 0xFF if more is read.

        Raises:
            NotAcknowledged: nothing was asked, it is too early, or nothing is measured.
        """
        if self._answer is None or now_ns < self._free_ns:
            raise NotAcknowledged
        answer, self._answer = with_crcs(self._answer()), None
        return answer[:length].ljust(length, b"\xff")

    def _obey(self, command: int, now_ns: int) -> None:
        answers = {
            SERIAL_NUMBER: lambda: self._serial_number.to_bytes(6, "big"),
            GET_SELF_CALIBRATION: lambda: self.self_calibration.to_bytes(2, "big"),
            READY: self._status,
            READ: self._take,
        }
        self._free_ns = now_ns + ANSWER_NS
        if command in answers:
            self._measure(now_ns)
            self._answer = answers[command]
        elif command == START:
            self._due_ns, self._result, self._free_ns = now_ns + PERIOD_NS, None, now_ns
        elif command == STOP:
            self._due_ns, self._free_ns = None, now_ns + AFTER_STOP_NS
        elif command == PERSIST:
            self.memory_writes += 1
            self._free_ns = now_ns + PERSIST_NS
        elif command == FORCED_RECALIBRATION:  # the chip takes what follows for its target
            self.recalibrations += 1
            self._free_ns = now_ns + RECALIBRATION_NS
        else:
            raise NotAcknowledged

    def _set(self, command: int, argument: int, now_ns: int) -> None:
        self._free_ns = now_ns + ANSWER_NS
        if command == AMBIENT_PRESSURE:
            self.ambient_pressure_hpa = argument
        elif command == SET_SELF_CALIBRATION and argument in (0, 1):
            self.self_calibration = argument
        elif command == FORCED_RECALIBRATION:
            self.recalibrations += 1
        else:
            raise NotAcknowledged

    def _status(self) -> bytes:
        return (IS_READY if self._result else NOT_READY).to_bytes(2, "big")

    def _take(self) -> bytes:
        if self._result is None:
            raise NotAcknowledged
        result, self._result = self._result, None
        return result

    def _measure(self, now_ns: int) -> None:
        """Make the measurements that fell due; the last one stays."""
        while self._due_ns is not None and self._due_ns <= now_ns:
            at_ns = self._due_ns
            temperature = (self.temperature_c(at_ns) + 45.0) / 175.0
            words = (
                _word(self.co2_ppm(at_ns)),
                _word(65536 * temperature),
                _word(65536 * self.humidity_percent(at_ns) / 100.0),
            )
            self._result = struct.pack(">HHH", *words)
            self._due_ns += PERIOD_NS


def _word(counts: float) -> int:
    return max(0, min(0xFFFF, round(counts)))
