"""The BME280 (pressure, temperature, humidity) and BMP280 (without humidity) on I2C.

Wiring and accuracy: the manual in `drivers/README.md`. Tested against the simulated
chip, which an independent library reads alike.

Each measurement is ordered by itself (forced mode), so that none is old. The chips have
no CRC: what is read is read twice.
"""

from linetender_drivers.ambient.bme280_decode import (
    BME280_DATA_LENGTH,
    BMP280_DATA_LENGTH,
    CHIP_IDS,
    FIRST_CALIBRATION_LENGTH,
    HUMIDITY_RANGE_PERCENT,
    PRESSURE_RANGE_PA,
    SECOND_CALIBRATION_LENGTH,
    TEMPERATURE_RANGE_C,
    Air,
    Calibration,
    compensate,
    decode_calibration,
    decode_raw,
)
from linetender_drivers.ambient.bme280_spec import (
    BME280_SIGNALS,
    BMP280_SIGNALS,
    HUMIDITY_SIGNAL,
    PRESSURE_SIGNAL,
    TEMPERATURE_SIGNAL,
    Bme280Options,
)
from linetender_drivers.contracts import Machine, Sensor
from linetender_drivers.errors import DriverError, FailureReason
from linetender_drivers.i2c_sensor import I2cChip, I2cSensor
from linetender_drivers.measurements import Measurement, within
from linetender_drivers.signal_roles import known_signals

FIRST_CALIBRATION = b"\x88"
SECOND_CALIBRATION = b"\xe1"
CHIP_ID = b"\xd0"
STATUS = b"\xf3"
DATA = b"\xf7"

FILTER_OFF = b"\xf5\x00"
HUMIDITY_ONCE = b"\xf2\x01"
MEASURE_ONCE = b"\xf4\x4d"
"""Temperature twice, pressure four times, forced mode: 010 011 01."""

SLEEP = b"\xf4\x00"

MEASURING_OR_LOADING = 0x09
"""Bits of the status: measuring, and copying the calibration after a reset."""

MEASURE_S = 0.020
"""At most 1.25 + 2.3·2 + (2.3·4 + 0.575) + (2.3 + 0.575) ms (data sheet, appendix B)."""


class Bme280Part:
    """The chip; implements `i2c_sensor.I2cPart`.

    Args:
        variant: `bme280` or `bmp280`.
        signals: What to report.
    """

    sample_s = MEASURE_S

    def __init__(self, variant: str, signals: frozenset[str]) -> None:
        self._variant = variant
        self._has_humidity = variant == "bme280"
        self._signals = signals
        self._calibration: Calibration | None = None

    async def start(self, chip: I2cChip) -> None:
        """Verify the chip's identifier and read its calibration."""
        (chip_id,) = await chip.ask_twice(CHIP_ID, 1)
        if chip_id != CHIP_IDS[self._variant]:
            names = {number: name for name, number in CHIP_IDS.items()}
            found = names.get(chip_id, f"a chip with the identifier 0x{chip_id:02x}")
            raise chip.wrong_device(found, f"a {self._variant}")
        first = await chip.ask_twice(FIRST_CALIBRATION, FIRST_CALIBRATION_LENGTH)
        second = b""
        if self._has_humidity:
            second = await chip.ask_twice(SECOND_CALIBRATION, SECOND_CALIBRATION_LENGTH)
        self._calibration = decode_calibration(first, second, chip.name)
        await chip.write(SLEEP)  # another program may have left it measuring: deaf to the next
        await chip.write(FILTER_OFF)

    async def sample(self, chip: I2cChip) -> tuple[Measurement, ...]:
        """Measure once, and return what is asked for."""
        if self._calibration is None:
            raise DriverError(chip.name, "read before open", FailureReason.CLOSED)
        if self._has_humidity:
            await chip.write(HUMIDITY_ONCE)
        await chip.write(MEASURE_ONCE)
        await chip.sleep(MEASURE_S)
        status = await chip.ask(STATUS, 1)
        if status[0] & MEASURING_OR_LOADING:
            raise chip.bad_frame("still measuring after its longest time", status)
        length = BME280_DATA_LENGTH if self._has_humidity else BMP280_DATA_LENGTH
        raw = decode_raw(await chip.ask_twice(DATA, length), chip.name)
        measurements = _measurements(compensate(raw, self._calibration))
        return tuple(one for one in measurements if one.signal in self._signals)

    async def stop(self, chip: I2cChip) -> None:
        """Let the chip sleep."""
        await chip.write(SLEEP)


def _measurements(air: Air) -> tuple[Measurement, ...]:
    temperature = within(TEMPERATURE_SIGNAL, air.temperature_c, *TEMPERATURE_RANGE_C)
    pressure = within(PRESSURE_SIGNAL, air.pressure_pa, *PRESSURE_RANGE_PA)
    made = [pressure]
    if air.humidity_percent is not None:
        made.append(within(HUMIDITY_SIGNAL, air.humidity_percent, *HUMIDITY_RANGE_PERCENT))
    if temperature.value is None:  # the other formulas need it
        made = [Measurement(one.signal, reason=FailureReason.OUT_OF_RANGE) for one in made]
    return (temperature, *made)


def open_bme280(
    name: str, options: Bme280Options, machine: Machine, roles: tuple[str, ...]
) -> Sensor:
    """Return an unopened BME280 that reports the signals in `roles`.

    Raises:
        DriverConfigError: `roles` is empty or names a signal it cannot give.
    """
    part = Bme280Part("bme280", known_signals(name, roles, BME280_SIGNALS))
    return I2cSensor(name, machine, options, options.address, options.period_s, part)


def open_bmp280(
    name: str, options: Bme280Options, machine: Machine, roles: tuple[str, ...]
) -> Sensor:
    """Return an unopened BMP280 that reports the signals in `roles`.

    Raises:
        DriverConfigError: `roles` is empty or names a signal it cannot give.
    """
    part = Bme280Part("bmp280", known_signals(name, roles, BMP280_SIGNALS))
    return I2cSensor(name, machine, options, options.address, options.period_s, part)
