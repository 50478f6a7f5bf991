"""The D6F-PH differential-pressure sensors on I2C.

Wiring, ranges and accuracy: the manual in `drivers/README.md`. Tested against the
simulated chip.

The part has no identifier. It is taken for what the station file says when it obeys its
initialisation, its words carry their CRC, and its temperature is one at which it works.
It gives what it reads; like every sensor with a heated element it reads with the density
of the air, and whoever uses the value corrects it.

Source of commands and times: public drivers of the part that quote its user's manual.
"""

from linetender_drivers.contracts import Clock, Machine, Sensor
from linetender_drivers.errors import FailureReason
from linetender_drivers.i2c_sensor import I2cChip, I2cSensor
from linetender_drivers.measurements import Measurement, within
from linetender_drivers.pace import Seldom
from linetender_drivers.pressure.d6f_ph_decode import (
    FRAME_LENGTH,
    TEMPERATURE_RANGE_C,
    decode_word,
    differential_pa,
    temperature_c,
)
from linetender_drivers.pressure.d6f_ph_spec import D6fPhOptions
from linetender_drivers.signal_roles import TEMPERATURE_SIGNAL, one_pressure

INITIALISE = bytes.fromhex("0B00")
CRC_ON = bytes.fromhex("00D0491802")
MEASURE = bytes.fromhex("00D0401806")
POINT_AT_PRESSURE = bytes.fromhex("00D0512C")
POINT_AT_TEMPERATURE = bytes.fromhex("00D0612C")
READ_BUFFER = bytes.fromhex("07")

MEASURE_S = 0.034
"""The chip must be left alone for 33 ms while it measures."""

TEMPERATURE_PERIOD_S = 1.0
"""Between two temperatures: they change slowly (chosen)."""


class D6fPhPart:
    """The chip; implements `i2c_sensor.I2cPart`.

    Args:
        clock: Paces the temperatures.
        product: The part number up to its range.
        pressure_signal: What the pressure it measures is called.
        with_temperature: Whether to report the chip's temperature, once a second.
    """

    sample_s = MEASURE_S

    def __init__(
        self, clock: Clock, product: str, pressure_signal: str, with_temperature: bool
    ) -> None:
        self._product = product
        self._signal = pressure_signal
        self._with_temperature = with_temperature
        self._temperature = Seldom(clock, TEMPERATURE_PERIOD_S)

    async def start(self, chip: I2cChip) -> None:
        """Initialise the chip, switch its CRC on, and judge it by its temperature."""
        celsius = await first_temperature_c(chip)
        low_c, high_c = TEMPERATURE_RANGE_C
        if not low_c <= celsius <= high_c:
            found = f"something whose temperature would be {celsius:.0f} °C"
            raise chip.wrong_device(found, f"a {self._product}")

    async def sample(self, chip: I2cChip) -> tuple[Measurement, ...]:
        """Measure, and return the pressure, at times the temperature too."""
        await _measure(chip)
        pressure = self._pressure(await _word(chip, POINT_AT_PRESSURE))
        if not self._with_temperature or not self._temperature.is_due():
            return (pressure,)
        celsius = temperature_c(await _word(chip, POINT_AT_TEMPERATURE))
        return (pressure, within(TEMPERATURE_SIGNAL, celsius, *TEMPERATURE_RANGE_C))

    async def stop(self, chip: I2cChip) -> None:
        """Do nothing: the chip measures only when told to."""

    def _pressure(self, counts: int) -> Measurement:
        pressure_pa = differential_pa(counts, self._product)
        if pressure_pa is None:
            return Measurement(self._signal, reason=FailureReason.OUT_OF_RANGE)
        return Measurement(self._signal, pressure_pa)


async def first_temperature_c(chip: I2cChip) -> float:
    """Initialise the chip, switch its CRC on, and return its temperature, °C."""
    await chip.write(INITIALISE)
    await chip.write(CRC_ON)
    await _measure(chip)
    return temperature_c(await _word(chip, POINT_AT_TEMPERATURE))


async def _measure(chip: I2cChip) -> None:
    await chip.write(MEASURE)
    await chip.sleep(MEASURE_S)


async def _word(chip: I2cChip, point: bytes) -> int:
    await chip.write(point)
    return decode_word(await chip.ask(READ_BUFFER, FRAME_LENGTH), chip.name)


def open_d6f_ph(
    name: str, options: D6fPhOptions, machine: Machine, roles: tuple[str, ...]
) -> Sensor:
    """Return an unopened sensor that reports the signals in `roles`.

    Raises:
        DriverConfigError: `roles` does not name exactly one pressure, or names a
            signal that the sensor cannot give.
    """
    pressure = one_pressure(name, roles, frozenset({TEMPERATURE_SIGNAL}))
    part = D6fPhPart(machine.clock, options.product, pressure, TEMPERATURE_SIGNAL in roles)
    return I2cSensor(name, machine, options, options.address, options.period_s, part)
