"""A simulated BME280 or BMP280 chip, down to its registers and times.

Its calibration is that of the worked example in the BMP280 data sheet (section 3.12); the
six numbers for humidity are invented. Not simulated: normal mode, the filter, SPI.
"""

import struct
from collections.abc import Callable

from linetender_drivers.ambient.bme280_decode import (
    CHIP_IDS,
    NOT_MEASURED,
    NOT_MEASURED_HUMIDITY,
    Air,
    RawAir,
    compensate,
    decode_calibration,
)

T_AND_P = (27504, 26435, -1000, 36477, -10685, 3024, 2855, 140, -7, 15500, -14600, 6000)
FIRST_CALIBRATION = struct.pack("<HhhHhhhhhhhh", *T_AND_P) + b"\x00\x4b"
SECOND_CALIBRATION = struct.pack("<hB", 361, 0) + bytes((0x14, 0x22, 0x03, 0x1E))

HUMIDITY_CONTROL, STATUS, MEASURE_CONTROL = 0xF2, 0xF3, 0xF4
FORCED_MODES = (1, 2)
OVERSAMPLING = (0, 1, 2, 4, 8, 16, 16, 16)
MODE_BITS = 0x03
MEASURING = 0x08


class Bme280Chip:
    """The chip, asleep as after power-up; implements `i2c_bus.SimulatedChip`.

    Args:
        variant: `bme280` or `bmp280`.

    Attributes:
        pressure_pa: Air pressure (Pa) at a time (ns). Set it at will.
        temperature_c: Temperature (°C) at a time (ns).
        humidity_percent: Relative humidity (%) at a time (ns).
        calibration: Its numbers.
    """

    def __init__(self, variant: str = "bme280") -> None:
        self.pressure_pa: Callable[[int], float] = lambda _: 101_325.0
        self.temperature_c: Callable[[int], float] = lambda _: 20.0
        self.humidity_percent: Callable[[int], float] = lambda _: 50.0
        self._variant = variant
        second = SECOND_CALIBRATION if variant == "bme280" else b""
        self.calibration = decode_calibration(FIRST_CALIBRATION, second, "simulated")
        self.power_cycle()

    def power_cycle(self) -> None:
        """Lose power and get it back: asleep, nothing measured."""
        self._memory = bytearray(256)
        self._memory[0x88:0xA2] = FIRST_CALIBRATION
        self._memory[0xD0] = CHIP_IDS[self._variant]
        if self._variant == "bme280":
            self._memory[0xE1:0xE8] = SECOND_CALIBRATION
        self._store(RawAir(NOT_MEASURED, NOT_MEASURED, NOT_MEASURED_HUMIDITY))
        self._pointer = 0
        self._done_ns: int | None = None

    def write(self, data: bytes, now_ns: int) -> None:
        """Take a register's number, and pairs of register and value."""
        self._pointer = data[0]
        for register, value in zip(data[0::2], data[1::2], strict=False):
            if register == 0xE0 and value == 0xB6:
                self.power_cycle()
            elif HUMIDITY_CONTROL <= register <= 0xF5 and register != STATUS:
                self._memory[register] = value
            if register == MEASURE_CONTROL and value & MODE_BITS in FORCED_MODES:
                self._done_ns = now_ns + self._measure_ns()

    def read(self, length: int, now_ns: int) -> bytes:
        """Give registers from the pointer on."""
        if self._done_ns is not None and now_ns >= self._done_ns:
            self._store(self._raw(self._done_ns))
            self._memory[MEASURE_CONTROL] &= ~MODE_BITS & 0xFF
            self._done_ns = None
        self._memory[STATUS] = 0 if self._done_ns is None else MEASURING
        start, self._pointer = self._pointer, (self._pointer + length) % 256
        return bytes(self._memory[(start + offset) % 256] for offset in range(length))

    def _measure_ns(self) -> int:
        """The longest time of the data sheet (appendix B), by the oversampling set."""
        control = self._memory[MEASURE_CONTROL]
        temperature = OVERSAMPLING[control >> 5]
        pressure = OVERSAMPLING[control >> 2 & 7]
        humidity = OVERSAMPLING[self._memory[HUMIDITY_CONTROL] & 7]
        microseconds = 1250 + 2300 * (temperature + pressure + humidity)
        microseconds += 575 * ((pressure > 0) + (humidity > 0))
        return 1000 * microseconds

    def _raw(self, now_ns: int) -> RawAir:
        """Find the raw values that the data sheet's formulas turn into the quantities."""
        wanted = Air(
            self.temperature_c(now_ns), self.pressure_pa(now_ns), self.humidity_percent(now_ns)
        )
        temperature = _search(20, lambda t: self._air(0, t, 0).temperature_c < wanted.temperature_c)
        pressure = _search(
            20, lambda p: self._air(p, temperature, 0).pressure_pa > wanted.pressure_pa
        )
        humidity = NOT_MEASURED_HUMIDITY
        if self._variant == "bme280" and self._memory[HUMIDITY_CONTROL] & 7:
            percent = wanted.humidity_percent or 0.0
            humidity = _search(
                16, lambda h: (self._air(0, temperature, h).humidity_percent or 0.0) < percent
            )
        return RawAir(pressure, temperature, humidity)

    def _air(self, pressure: int, temperature: int, humidity: int) -> Air:
        return compensate(RawAir(pressure, temperature, humidity), self.calibration)

    def _store(self, raw: RawAir) -> None:
        self._memory[0xF7:0xFA] = (raw.pressure << 4).to_bytes(3, "big")
        self._memory[0xFA:0xFD] = (raw.temperature << 4).to_bytes(3, "big")
        if self._variant == "bme280":
            self._memory[0xFD:0xFF] = (raw.humidity or 0).to_bytes(2, "big")


def _search(bits: int, is_too_low: Callable[[int], bool]) -> int:
    """Return the least number of so many bits that is not too low."""
    low, high = 0, (1 << bits) - 1
    while low < high:
        middle = (low + high) // 2
        if is_too_low(middle):
            low = middle + 1
        else:
            high = middle
    return low
