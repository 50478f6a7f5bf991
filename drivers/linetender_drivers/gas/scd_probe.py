"""How an SCD30 and an SCD4x are recognised: by questions that change nothing.

Both are answered while the chip measures.
"""

from linetender_drivers.errors import DriverError, FailureReason
from linetender_drivers.gas import scd4x, scd30
from linetender_drivers.gas.scd4x_spec import CO2_SIGNAL
from linetender_drivers.gas.scd_words import answer, answer_number
from linetender_drivers.i2c_probe import Found, I2cProbe, Writes
from linetender_drivers.i2c_sensor import I2cChip


async def _ask_scd30(chip: I2cChip) -> Found | None:
    firmware = await answer_number(chip, scd30.FIRMWARE)
    if firmware >> 8 != scd30.FIRMWARE_MAJOR:
        return None
    return Found(f"SCD30 (firmware {firmware >> 8}.{firmware & 0xFF})", (CO2_SIGNAL,))


async def _ask_scd4x(chip: I2cChip) -> Found | None:
    try:
        serial = await answer(chip, scd4x.SERIAL_NUMBER, scd4x.SERIAL_WORDS)
    except DriverError as error:
        if error.reason is not FailureReason.NACK:
            raise
        await answer_number(chip, scd4x.READY)  # the one question it takes while measuring
        return Found("SCD4x that measures already", (CO2_SIGNAL,))
    return Found(f"SCD4x (serial number {serial.hex()})", (CO2_SIGNAL,)) if any(serial) else None


SCD30_PROBES = (I2cProbe((scd30.ADDRESS,), Writes.COMMAND, _ask_scd30),)
SCD4X_PROBES = (I2cProbe((scd4x.ADDRESS,), Writes.COMMAND, _ask_scd4x),)
