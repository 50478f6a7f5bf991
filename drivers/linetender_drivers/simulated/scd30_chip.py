"""A simulated SCD30 chip, down to its commands and times.

Built from the maker's Python driver and interface description. Not simulated: forced
recalibration, temperature offset, altitude, and the effect of the ambient pressure.
"""

import struct
from collections.abc import Callable

from linetender_drivers.crc_words import crc8, with_crcs
from linetender_drivers.simulated.i2c_bus import NotAcknowledged

NS_PER_S = 1_000_000_000
ANSWER_NS = 3_000_000
"""The answer to a command can be read so long after it."""

FIRMWARE_3_66 = 0x0342

START, STOP, INTERVAL, READY, READ = 0x0010, 0x0104, 0x4600, 0x0202, 0x0300
SELF_CALIBRATION, FIRMWARE = 0x5306, 0xD100


class Scd30Chip:
    """The chip; implements `i2c_bus.SimulatedChip`.

    Attributes:
        co2_ppm: Carbon dioxide (ppm) at a time (ns). Set it at will.
        temperature_c: Temperature (°C) at a time (ns).
        humidity_percent: Relative humidity (%) at a time (ns).
        self_calibration: 1 when on, as delivered.
        interval_s: Between two measurements.
        ambient_pressure_hpa: As last told; 0 for not told.
        memory_writes: How often its memory was written to.
    """

    def __init__(self) -> None:
        self.co2_ppm: Callable[[int], float] = lambda _: 420.0
        self.temperature_c: Callable[[int], float] = lambda _: 25.0
        self.humidity_percent: Callable[[int], float] = lambda _: 50.0
        self.self_calibration = 1
        self.interval_s = 2
        self.ambient_pressure_hpa = 0
        self.memory_writes = 0
        self._measures = False
        self.power_cycle()

    def power_cycle(self) -> None:
        """Lose power and get it back: it goes on measuring if it did, with a first wait."""
        self._due_ns: int | None = None
        self._result = (0.0, 0.0, 0.0)
        self._is_ready = False
        self._asked: int | None = None
        self._asked_ns = 0

    def write(self, data: bytes, now_ns: int) -> None:
        """Take a command, with its argument and CRC if three more bytes follow.

        Raises:
            NotAcknowledged: it is no command, or its CRC is wrong.
        """
        if len(data) not in (2, 5) or (len(data) == 5 and crc8(data[2:4]) != data[4]):
            raise NotAcknowledged
        command = int.from_bytes(data[:2], "big")
        if len(data) == 5:
            self._set(command, int.from_bytes(data[2:4], "big"), now_ns)
        elif command == STOP:
            self._measures = False
        elif command in (READY, READ, INTERVAL, SELF_CALIBRATION, FIRMWARE):
            self._asked, self._asked_ns = command, now_ns
        else:
            raise NotAcknowledged

    def read(self, length: int, now_ns: int) -> bytes:
        """Give the answer to the last command, followed by 0xFF if more is read.

        Raises:
            NotAcknowledged: nothing was asked, or it is too early.
        """
        if self._asked is None or now_ns < self._asked_ns + ANSWER_NS:
            raise NotAcknowledged
        self._measure(now_ns)
        answer = with_crcs(self._answer(self._asked))
        if self._asked == READ:
            self._is_ready = False
        self._asked = None
        return answer[:length].ljust(length, b"\xff")

    def _answer(self, command: int) -> bytes:
        if command == READ:
            return struct.pack(">fff", *self._result)
        words = {
            READY: int(self._is_ready),
            INTERVAL: self.interval_s,
            SELF_CALIBRATION: self.self_calibration,
            FIRMWARE: FIRMWARE_3_66,
        }
        return words[command].to_bytes(2, "big")

    def _set(self, command: int, argument: int, now_ns: int) -> None:
        if command == START:
            self.ambient_pressure_hpa = argument
            self._measures = True
            self._due_ns = now_ns + self.interval_s * NS_PER_S
        elif command == INTERVAL and 2 <= argument <= 1800:
            self.interval_s = argument
        elif command == SELF_CALIBRATION and argument in (0, 1):
            self.self_calibration = argument
        else:
            raise NotAcknowledged
        self.memory_writes += 1

    def _measure(self, now_ns: int) -> None:
        """Make the measurements that fell due; the last one stays."""
        if not self._measures:
            return
        if self._due_ns is None:
            self._due_ns = now_ns + self.interval_s * NS_PER_S
        while self._due_ns <= now_ns:
            at_ns = self._due_ns
            self._result = (
                self.co2_ppm(at_ns),
                self.temperature_c(at_ns),
                self.humidity_percent(at_ns),
            )
            self._is_ready = True
            self._due_ns += self.interval_s * NS_PER_S
