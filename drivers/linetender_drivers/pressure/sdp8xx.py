"""The SDP8xx and SDP3x differential-pressure sensors on I2C.

Wiring, ranges and accuracy: the manual in `drivers/README.md`. Tested against the
register-level simulated chip, which the sensor maker's own driver reads alike.

The pressure is reported as the chip reads it. The chip measures a mass flow through
itself and is calibrated at 966 hPa: the true differential pressure is the reading
times 966 hPa / ambient pressure. This driver does not correct for it, since it does
not know the ambient pressure; whoever uses the value corrects it, once.

In its mode `mass_flow` the chip reports the same quantity in the same counts, compensated
for temperature so that the mass flow through a bypass comes out right instead of the
pressure; then the number is a pressure only near the temperature of its calibration.

Source of commands and times: the sensor maker's Python driver `sensirion-i2c-sdp`.
"""

from linetender_drivers.contracts import Clock, Machine, Sensor
from linetender_drivers.errors import DriverError, FailureReason
from linetender_drivers.i2c_sensor import I2cChip, I2cSensor
from linetender_drivers.measurements import Measurement
from linetender_drivers.pace import Seldom
from linetender_drivers.pressure.sdp8xx_decode import (
    FRAME_LENGTH,
    IDENTIFIER_LENGTH,
    Sdp8xxFrame,
    decode_frame,
    decode_identifier,
)
from linetender_drivers.pressure.sdp8xx_spec import Mode, Sdp8xxOptions
from linetender_drivers.signal_roles import TEMPERATURE_SIGNAL, one_pressure

START_CONTINUOUS: dict[tuple[Mode, bool], bytes] = {
    ("differential", True): bytes.fromhex("3615"),
    ("differential", False): bytes.fromhex("361E"),
    ("mass_flow", True): bytes.fromhex("3603"),
    ("mass_flow", False): bytes.fromhex("3608"),
}
"""By what the temperature compensation holds true, and whether a result is the mean since
the last read. The triggered commands (0x3624, 0x372D, 0x362F, 0x3726) are not used: one
measurement takes 45 ms, more than the whole period of a reading, and two of them hold the
clock line low so long, which bus controllers do not all bear."""

STOP = bytes.fromhex("3FF9")
PREPARE_IDENTIFIER = bytes.fromhex("367C")
READ_IDENTIFIER = bytes.fromhex("E102")

AFTER_STOP_S = 0.002
"""The chip takes the next command 0.5 ms after a stop."""

BEFORE_IDENTIFIER_S = 0.001
"""Given to the chip between the command and reading the identifier."""

WARM_UP_S = 0.020
"""First result after 8 ms, off by a few per cent for another 12 ms."""

TEMPERATURE_PERIOD_S = 1.0
"""Between two temperatures: they change slowly (chosen)."""


class Sdp8xxPart:
    """The chip; implements `i2c_sensor.I2cPart`.

    Args:
        clock: Paces the temperatures.
        options: Of the station file: mode, average and the one part to accept, if any.
        pressure_signal: What the pressure it measures is called.
        with_temperature: Whether to report the chip's temperature, once a second.
    """

    sample_s = 0.0

    def __init__(
        self, clock: Clock, options: Sdp8xxOptions, pressure_signal: str, with_temperature: bool
    ) -> None:
        self._product = options.product
        self._start = START_CONTINUOUS[options.mode, options.average]
        self._signal = pressure_signal
        self._with_temperature = with_temperature
        self._temperature = Seldom(clock, TEMPERATURE_PERIOD_S)

    async def start(self, chip: I2cChip) -> None:
        """Verify the product number, start the chip and let it warm up."""
        await _stop_if_measuring(chip)
        await self._verify(chip)
        await chip.write(self._start)
        await chip.sleep(WARM_UP_S)

    async def sample(self, chip: I2cChip) -> tuple[Measurement, ...]:
        """Return the pressure, at times the temperature too."""
        frame = decode_frame(await chip.read(FRAME_LENGTH), chip.name)
        pressure = _pressure(self._signal, frame)
        if self._with_temperature and self._temperature.is_due():
            return (pressure, _temperature(frame))
        return (pressure,)

    async def stop(self, chip: I2cChip) -> None:
        """Stop measuring."""
        await chip.write(STOP)

    async def _verify(self, chip: I2cChip) -> None:
        """Check that the chip is of the family, and the configured part if one is."""
        answer = await read_identifier(chip)
        identifier = decode_identifier(answer, chip.name)
        product = identifier.product
        if product is None:
            found = f"product number 0x{identifier.product_number:08x} ({answer.hex(' ')})"
            raise chip.wrong_device(found, self._product or "an SDP8xx or SDP3x")
        if self._product not in (None, product.name):
            raise chip.wrong_device(product.name, str(self._product))


async def read_identifier(chip: I2cChip) -> bytes:
    """Return what an idle chip says of itself, not decoded."""
    await chip.write(PREPARE_IDENTIFIER)
    await chip.write(READ_IDENTIFIER)
    await chip.sleep(BEFORE_IDENTIFIER_S)
    return await chip.read(IDENTIFIER_LENGTH)


async def _stop_if_measuring(chip: I2cChip) -> None:
    """Stop a measurement that an earlier process may have left running."""
    try:
        await chip.write(STOP)
    except DriverError as error:
        if error.reason is not FailureReason.NACK:  # an idle chip may refuse it
            raise
    await chip.sleep(AFTER_STOP_S)


def _pressure(signal: str, frame: Sdp8xxFrame) -> Measurement:
    if not frame.is_pressure_in_range:
        return Measurement(signal, reason=FailureReason.OUT_OF_RANGE)
    return Measurement(signal, frame.differential_pa)


def _temperature(frame: Sdp8xxFrame) -> Measurement:
    if not frame.is_temperature_in_range:
        return Measurement(TEMPERATURE_SIGNAL, reason=FailureReason.OUT_OF_RANGE)
    return Measurement(TEMPERATURE_SIGNAL, frame.temperature_c)


def open_sdp8xx(
    name: str, options: Sdp8xxOptions, machine: Machine, roles: tuple[str, ...]
) -> Sensor:
    """Return an unopened sensor that reports the signals in `roles`.

    Raises:
        DriverConfigError: `roles` does not name exactly one pressure, or names a
            signal that the sensor cannot give.
    """
    pressure = one_pressure(name, roles, frozenset({TEMPERATURE_SIGNAL}))
    part = Sdp8xxPart(machine.clock, options, pressure, TEMPERATURE_SIGNAL in roles)
    return I2cSensor(name, machine, options, options.address, options.period_s, part)


def decode_sdp8xx(
    name: str, options: Sdp8xxOptions, roles: tuple[str, ...], frame: bytes
) -> tuple[Measurement, ...]:
    """Return what the sensor makes of one answer: none if it is the identifier.

    Raises:
        BadFrame: its bytes cannot be trusted.
    """
    if len(frame) == IDENTIFIER_LENGTH:
        return ()
    decoded = decode_frame(frame, name)
    pressure = one_pressure(name, roles, frozenset({TEMPERATURE_SIGNAL}))
    return (_pressure(pressure, decoded), _temperature(decoded))
