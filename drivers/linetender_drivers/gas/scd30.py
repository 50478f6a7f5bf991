"""The SCD30 carbon-dioxide sensor on I2C.

Wiring and what it is good for: the manual in `drivers/README.md`. Tested against the
simulated chip.

Self-calibration is switched off: it takes the lowest value of a week for outdoor air,
which a sensor in a hood may never see. What the chip keeps in its memory (interval,
self-calibration) is written only where it differs.

Source of commands and times: the maker's Python driver and interface description.
"""

from linetender_drivers.contracts import Machine, Sensor
from linetender_drivers.crc_words import checked_words
from linetender_drivers.errors import FailureReason
from linetender_drivers.gas.scd30_decode import (
    CO2_RANGE_PPM,
    WORDS,
    Scd30Reading,
    decode_reading,
    is_plausible,
)
from linetender_drivers.gas.scd30_spec import CO2_SIGNAL, Scd30Options
from linetender_drivers.gas.scd_words import POLL_S, answer, answer_number, order, wait_until_ready
from linetender_drivers.i2c_sensor import I2cChip, I2cSensor
from linetender_drivers.measurements import Measurement, within
from linetender_drivers.signal_roles import known_signals

ADDRESS = 0x61

FIRMWARE = 0xD100
START = 0x0010
STOP = 0x0104
INTERVAL = 0x4600
READY = 0x0202
READ = 0x0300
SELF_CALIBRATION = 0x5306

FIRMWARE_MAJOR = 3
"""All parts sold answer 3.x (the interface description's example is 3.66)."""

WRITE_S = 0.010
"""Given to the chip after writing to its memory (chosen)."""

PATIENCE_S = 1.5
"""So much later than its interval a measurement may come (chosen: its clock is not exact)."""


class Scd30Part:
    """The chip; implements `i2c_sensor.I2cPart`.

    Args:
        options: In which air it is and how often it measures.
    """

    def __init__(self, options: Scd30Options) -> None:
        self._options = options
        self.sample_s = options.period_s + PATIENCE_S

    async def start(self, chip: I2cChip) -> None:
        """Verify the firmware, switch self-calibration off, measure continuously."""
        firmware = await answer_number(chip, FIRMWARE)
        state = await answer_number(chip, SELF_CALIBRATION)
        if firmware >> 8 != FIRMWARE_MAJOR or state not in (0, 1):
            found = f"a chip with firmware {firmware >> 8}.{firmware & 0xFF}"
            raise chip.wrong_device(found, f"an SCD30 (firmware {FIRMWARE_MAJOR}.x)")
        await _keep(chip, SELF_CALIBRATION, 0)
        await _keep(chip, INTERVAL, self._options.period_s)
        await order(chip, START, self._options.ambient_pressure_hpa)
        await chip.sleep(WRITE_S)

    async def sample(self, chip: I2cChip) -> tuple[Measurement, ...]:
        """Wait until a measurement is ready, and return its carbon dioxide."""
        await wait_until_ready(chip, READY, 0xFFFF, self.sample_s)
        return _measured(decode_reading(await answer(chip, READ, WORDS), chip.name))

    async def stop(self, chip: I2cChip) -> None:
        """Stop measuring."""
        await order(chip, STOP)


def _measured(reading: Scd30Reading) -> tuple[Measurement, ...]:
    if not is_plausible(reading):
        return (Measurement(CO2_SIGNAL, reason=FailureReason.OUT_OF_RANGE),)
    return (within(CO2_SIGNAL, reading.co2_ppm, *CO2_RANGE_PPM),)


async def _keep(chip: I2cChip, command: int, value: int) -> None:
    """Write a value to the chip's memory unless it is there; check that it took it."""
    if await answer_number(chip, command) == value:
        return
    await order(chip, command, value)
    await chip.sleep(WRITE_S)
    kept = await answer_number(chip, command)
    if kept != value:
        raise chip.bad_frame(
            f"the chip keeps {kept}, not {value}, for {command:04x}", kept.to_bytes(2, "big")
        )


def open_scd30(
    name: str, options: Scd30Options, machine: Machine, roles: tuple[str, ...]
) -> Sensor:
    """Return an unopened sensor that reports the carbon dioxide.

    Raises:
        DriverConfigError: `roles` names anything else.
    """
    known_signals(name, roles, frozenset({CO2_SIGNAL}))
    # The chip sets the pace; asking a little early costs a few questions.
    return I2cSensor(name, machine, options, ADDRESS, POLL_S, Scd30Part(options))


def decode_scd30(
    name: str, options: Scd30Options, roles: tuple[str, ...], frame: bytes
) -> tuple[Measurement, ...]:
    """Return what the sensor makes of one answer: none if it is not as long as a measurement.

    Raises:
        BadFrame: its bytes cannot be trusted.
    """
    length = 3 * WORDS
    if len(frame) != length:
        return ()
    return _measured(decode_reading(checked_words(frame, length, name), name))
