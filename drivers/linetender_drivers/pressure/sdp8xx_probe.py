"""How an SDP8xx or SDP3x is recognised: by its product number, or while it measures."""

from linetender_drivers.errors import DriverError, FailureReason
from linetender_drivers.i2c_probe import Found, I2cProbe, Writes
from linetender_drivers.i2c_sensor import I2cChip
from linetender_drivers.pressure.sdp8xx import read_identifier
from linetender_drivers.pressure.sdp8xx_decode import (
    FRAME_LENGTH,
    decode_frame,
    decode_identifier,
)

ADDRESSES = (0x21, 0x22, 0x23, 0x25, 0x26)
SIGNALS = ("duct_pressure_pa", "element_temperature_c")

TRIES, BETWEEN_TRIES_S = 3, 0.002
"""A chip that measures has something new every 0.5 ms and refuses until then (chosen)."""


async def _ask_idle(chip: I2cChip) -> Found | None:
    product = decode_identifier(await read_identifier(chip), chip.name).product
    return None if product is None else Found(product.name, SIGNALS)


async def _hear_measuring(chip: I2cChip) -> Found | None:
    """Recognise one that was left measuring by three words with their CRCs."""
    for _ in range(TRIES):
        try:
            decode_frame(await chip.read(FRAME_LENGTH), chip.name)
        except DriverError as error:
            if error.reason is not FailureReason.NACK:
                raise
            await chip.sleep(BETWEEN_TRIES_S)
        else:
            return Found("SDP8xx or SDP3x that measures already", SIGNALS)
    return None


PROBES = (
    I2cProbe(ADDRESSES, Writes.NOTHING, _hear_measuring),
    I2cProbe(ADDRESSES, Writes.COMMAND, _ask_idle),
)
