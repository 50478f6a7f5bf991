"""The SCD40, SCD41 and SCD43 carbon-dioxide sensors on I2C.

Wiring and what they are good for: the manual in `drivers/README.md`. Tested against the
simulated chip, which the sensor maker's own driver reads alike.

Two commands of the SDP8xx pressure sensors, 0x362F and 0x3615, recalibrate an SCD4x and
write its memory. No driver here sends either before the chip has said that it is the
part that the command is meant for; this one never sends them. Self-calibration is
switched off at each start, in the chip's working memory only: it takes the lowest value
of a week for outdoor air, which a sensor in a hood may never see.

Source of commands and times: the maker's Python driver `sensirion-i2c-scd`.
"""

from linetender_drivers.contracts import Machine, Sensor
from linetender_drivers.errors import DriverError, FailureReason
from linetender_drivers.gas.scd4x_decode import (
    CO2_RANGE_PPM,
    READY_MASK,
    TEMPERATURE_RANGE_C,
    WORDS,
    decode_reading,
)
from linetender_drivers.gas.scd4x_spec import CO2_SIGNAL, Scd4xOptions
from linetender_drivers.gas.scd_words import (
    POLL_S,
    answer,
    answer_number,
    order,
    wait_until_ready,
)
from linetender_drivers.i2c_sensor import I2cChip, I2cSensor
from linetender_drivers.measurements import Measurement, within
from linetender_drivers.signal_roles import known_signals

ADDRESS = 0x62

SERIAL_NUMBER = 0x3682
SERIAL_WORDS = 3
START = 0x21B1
STOP = 0x3F86
READY = 0xE4B8
READ = 0xEC05
AMBIENT_PRESSURE = 0xE000
GET_SELF_CALIBRATION = 0x2313
SET_SELF_CALIBRATION = 0x2416

AFTER_STOP_S = 0.5
AFTER_SET_S = 0.001
PERIOD_S = 5.0
PATIENCE_S = 1.5
"""So much later than its period a measurement may come (chosen: its clock is not exact)."""


class Scd4xPart:
    """The chip; implements `i2c_sensor.I2cPart`.

    Args:
        options: In which air it is.
    """

    sample_s = PERIOD_S + PATIENCE_S

    def __init__(self, options: Scd4xOptions) -> None:
        self._options = options

    async def start(self, chip: I2cChip) -> None:
        """Verify the chip, switch self-calibration off, measure every 5 s."""
        serial = await _serial_number(chip)
        state = await answer_number(chip, GET_SELF_CALIBRATION)
        if not any(serial) or state not in (0, 1):
            found = f"a chip with the serial number {serial.hex()}"
            raise chip.wrong_device(found, "an SCD40, SCD41 or SCD43")
        if state:
            await order(chip, SET_SELF_CALIBRATION, 0)
            await chip.sleep(AFTER_SET_S)
            state = await answer_number(chip, GET_SELF_CALIBRATION)
        if state:
            raise chip.bad_frame("self-calibration stays on", state.to_bytes(2, "big"))
        await order(chip, AMBIENT_PRESSURE, self._options.ambient_pressure_hpa)
        await chip.sleep(AFTER_SET_S)
        await order(chip, START)

    async def sample(self, chip: I2cChip) -> tuple[Measurement, ...]:
        """Wait until a measurement is ready, and return its carbon dioxide."""
        await wait_until_ready(chip, READY, READY_MASK, self.sample_s)
        reading = decode_reading(await answer(chip, READ, WORDS), chip.name)
        low_c, high_c = TEMPERATURE_RANGE_C
        if not low_c <= reading.temperature_c <= high_c:  # it enters into the CO2
            return (Measurement(CO2_SIGNAL, reason=FailureReason.OUT_OF_RANGE),)
        return (within(CO2_SIGNAL, reading.co2_ppm, *CO2_RANGE_PPM),)

    async def stop(self, chip: I2cChip) -> None:
        """Stop measuring."""
        await order(chip, STOP)


async def _serial_number(chip: I2cChip) -> bytes:
    """Read the serial number; a chip that was left measuring refuses it until stopped."""
    try:
        return await answer(chip, SERIAL_NUMBER, SERIAL_WORDS)
    except DriverError as error:
        if error.reason is not FailureReason.NACK:
            raise
    try:
        await order(chip, STOP)
    except DriverError as error:
        if error.reason is not FailureReason.NACK:  # it may still be busy stopping
            raise
    await chip.sleep(AFTER_STOP_S)
    return await answer(chip, SERIAL_NUMBER, SERIAL_WORDS)


def open_scd4x(
    name: str, options: Scd4xOptions, machine: Machine, roles: tuple[str, ...]
) -> Sensor:
    """Return an unopened sensor that reports the carbon dioxide.

    Raises:
        DriverConfigError: `roles` names anything else.
    """
    known_signals(name, roles, frozenset({CO2_SIGNAL}))
    # The chip sets the pace; asking a little early costs a few questions.
    return I2cSensor(name, machine, options, ADDRESS, POLL_S, Scd4xPart(options))
