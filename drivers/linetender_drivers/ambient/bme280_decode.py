"""BME280 and BMP280 sensors: calibration, raw values, compensation. Pure.

Source: the floating-point compensation of the data sheets (BMP280 section 3.11.3 and
appendix 8.1, BME280 section 4.2.3), as public drivers of the parts print it.
"""

import struct
from typing import NamedTuple

from linetender_drivers.errors import BadFrame

CHIP_IDS = {"bmp280": 0x58, "bme280": 0x60}
"""What register 0xD0 says."""

FIRST_CALIBRATION_LENGTH = 26
"""Registers 0x88 to 0xA1."""
SECOND_CALIBRATION_LENGTH = 7
"""Registers 0xE1 to 0xE7, of the BME280 only."""

BMP280_DATA_LENGTH = 6
BME280_DATA_LENGTH = 8
"""Registers from 0xF7 on."""

NOT_MEASURED = 0x80000
NOT_MEASURED_HUMIDITY = 0x8000
"""What the registers hold before the first measurement and where one is switched off."""

PRESSURE_RANGE_PA = (30_000.0, 110_000.0)
TEMPERATURE_RANGE_C = (-40.0, 85.0)
HUMIDITY_RANGE_PERCENT = (0.0, 100.0)
"""Of the data sheets."""


class Calibration(NamedTuple):
    """The numbers burnt into one chip, as the data sheet names them (dig_T1 and so on).

    Attributes:
        t: T1 to T3.
        p: P1 to P9.
        h: H1 to H6; zeros for a BMP280.
    """

    t: tuple[int, ...]
    p: tuple[int, ...]
    h: tuple[int, ...]


class RawAir(NamedTuple):
    """One measurement before compensation.

    Attributes:
        pressure: 20 bits.
        temperature: 20 bits.
        humidity: 16 bits; None for a BMP280.
    """

    pressure: int
    temperature: int
    humidity: int | None


class Air(NamedTuple):
    """One measurement.

    Attributes:
        temperature_c: Of the chip, °C.
        pressure_pa: Absolute, Pa.
        humidity_percent: Relative, %; None for a BMP280.
    """

    temperature_c: float
    pressure_pa: float
    humidity_percent: float | None


def decode_calibration(first: bytes, second: bytes, device: str) -> Calibration:
    """Decode the calibration.

    Args:
        first: Registers 0x88 to 0xA1.
        second: Registers 0xE1 to 0xE7; empty for a BMP280.
        device: Name for the error.

    Raises:
        BadFrame: wrong length, or numbers that no chip has (T1 or P1 of zero, all ones).
    """
    if len(first) != FIRST_CALIBRATION_LENGTH or len(second) not in (0, SECOND_CALIBRATION_LENGTH):
        raise BadFrame(device, "calibration of the wrong length", first + second)
    t = struct.unpack_from("<Hhh", first, 0)
    p = struct.unpack_from("<Hhhhhhhhh", first, 6)
    if not t[0] or not p[0] or first[:24] == b"\xff" * 24:
        raise BadFrame(device, "no chip has such a calibration", first + second)
    if not second:
        return Calibration(t, p, (0,) * 6)
    h2, h3 = struct.unpack_from("<hB", second, 0)
    h4 = _signed(second[3], 8) << 4 | second[4] & 0x0F
    h5 = _signed(second[5], 8) << 4 | second[4] >> 4
    return Calibration(t, p, (first[25], h2, h3, h4, h5, _signed(second[6], 8)))


def _signed(value: int, bits: int) -> int:
    return value - (1 << bits) if value >> (bits - 1) else value


def decode_raw(frame: bytes, device: str) -> RawAir:
    """Decode the data registers.

    Args:
        frame: 6 bytes of a BMP280, 8 of a BME280.
        device: Name for the error.

    Raises:
        BadFrame: wrong length, or nothing was measured.
    """
    if len(frame) not in (BMP280_DATA_LENGTH, BME280_DATA_LENGTH):
        raise BadFrame(device, f"expected 6 or 8 bytes, got {len(frame)}", frame)
    pressure = int.from_bytes(frame[0:3], "big") >> 4
    temperature = int.from_bytes(frame[3:6], "big") >> 4
    humidity = int.from_bytes(frame[6:8], "big") if len(frame) == BME280_DATA_LENGTH else None
    if NOT_MEASURED in (pressure, temperature) or humidity == NOT_MEASURED_HUMIDITY:
        raise BadFrame(device, "nothing was measured: the chip was reset meanwhile", frame)
    return RawAir(pressure, temperature, humidity)


def fine_temperature(raw: int, calibration: Calibration) -> float:
    """Return t_fine of the data sheet: temperature in steps of 1/5120 °C."""
    t1, t2, t3 = calibration.t
    first = (raw / 16384.0 - t1 / 1024.0) * t2
    second = (raw / 131072.0 - t1 / 8192.0) ** 2 * t3
    return first + second


def compensate(raw: RawAir, calibration: Calibration) -> Air:
    """Turn raw values into quantities. Pressure is 0 where the formula would divide by 0."""
    fine = fine_temperature(raw.temperature, calibration)
    humidity = None if raw.humidity is None else _humidity(raw.humidity, fine, calibration.h)
    return Air(fine / 5120.0, _pressure(raw.pressure, fine, calibration.p), humidity)


def _pressure(raw: int, fine: float, p: tuple[int, ...]) -> float:
    p1, p2, p3, p4, p5, p6, p7, p8, p9 = p
    var1 = fine / 2.0 - 64000.0
    var2 = var1 * var1 * p6 / 32768.0 + var1 * p5 * 2.0
    var2 = var2 / 4.0 + p4 * 65536.0
    var1 = (p3 * var1 * var1 / 524288.0 + p2 * var1) / 524288.0
    var1 = (1.0 + var1 / 32768.0) * p1
    if var1 == 0.0:
        return 0.0
    pressure = (1048576.0 - raw - var2 / 4096.0) * 6250.0 / var1
    return pressure + (p9 * pressure**2 / 2147483648.0 + pressure * p8 / 32768.0 + p7) / 16.0


def _humidity(raw: int, fine: float, h: tuple[int, ...]) -> float:
    h1, h2, h3, h4, h5, h6 = h
    var = fine - 76800.0
    scale = h2 / 65536.0 * (1.0 + h6 / 67108864.0 * var * (1.0 + h3 / 67108864.0 * var))
    humidity = (raw - (h4 * 64.0 + h5 / 16384.0 * var)) * scale
    humidity *= 1.0 - h1 * humidity / 524288.0
    low, high = HUMIDITY_RANGE_PERCENT
    return max(low, min(high, humidity))
