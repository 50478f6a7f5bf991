"""The ADS1115 converter on I2C, for the drivers of what is wired to it.

Each conversion is ordered by itself, so that none is old. It has no CRC: the
configuration is read back, and the result is read twice.
"""

from linetender_drivers.converters.ads1115_decode import (
    CONFIGURATION_REGISTER,
    CONVERSION_REGISTER,
    CONVERSION_S,
    HIGH_THRESHOLD_REGISTER,
    LOW_THRESHOLD_REGISTER,
    RESET_THRESHOLDS,
    Conversion,
    decode_conversion,
    single_shot,
)
from linetender_drivers.i2c_sensor import I2cChip


async def verify_ads1115(chip: I2cChip) -> None:
    """Check, by reading only, that the chip is an ADS1115.

    It has no identifier; the reset values of its two thresholds serve as one.

    Raises:
        DeviceNotFound: it is something else (reason `wrong_device`).
    """
    low = await chip.ask_twice(LOW_THRESHOLD_REGISTER, 2)
    high = await chip.ask_twice(HIGH_THRESHOLD_REGISTER, 2)
    if (low, high) != RESET_THRESHOLDS:
        found = f"a chip with {low.hex()} and {high.hex()} in its registers 2 and 3"
        raise chip.wrong_device(found, "an ADS1115 (8000 and 7fff; cut its power once)")


async def convert(chip: I2cChip, analogue_input: int, full_scale_mv: int) -> Conversion:
    """Measure one input against ground.

    Args:
        chip: The converter.
        analogue_input: 0 to 3.
        full_scale_mv: 2048, 4096 or 6144; never more than the converter's own supply
            can be read.

    Raises:
        BadFrame: the conversion is not over in time, was another one than ordered, or
            its result came damaged.
        DriverError: the bus failed.
    """
    ordered = single_shot(analogue_input, full_scale_mv).to_bytes(2, "big")
    await chip.write(CONFIGURATION_REGISTER + ordered)
    await chip.sleep(CONVERSION_S)
    configuration = await chip.ask(CONFIGURATION_REGISTER, 2)
    if configuration != ordered:
        message = f"configuration is not {ordered.hex()}: not converted, or reset meanwhile"
        raise chip.bad_frame(message, configuration)
    result = await chip.ask_twice(CONVERSION_REGISTER, 2)
    return decode_conversion(result, full_scale_mv, chip.name)
