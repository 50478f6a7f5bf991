"""How an INA226 is recognised, by its identifiers, and an INA219, by its reset values."""

from linetender_drivers.fan.ina2xx import CONFIGURATION, verify_ina219, verify_ina226
from linetender_drivers.fan.ina2xx_spec import SIGNALS
from linetender_drivers.i2c_probe import Found, I2cProbe, Writes
from linetender_drivers.i2c_sensor import I2cChip

ADDRESSES = tuple(range(0x40, 0x50))

INA226_TOP = 4
"""The four high bits of its configuration, which cannot be set to anything else.

Asked first, because some humidity sensors take its identifier's register for a reset."""


async def _ask_ina219(chip: I2cChip) -> Found | None:
    await verify_ina219(chip)
    return Found("INA219, by its reset values", tuple(sorted(SIGNALS)))


async def _ask_ina226(chip: I2cChip) -> Found | None:
    configuration = await chip.ask_twice(CONFIGURATION, 2)
    if configuration[0] >> 4 != INA226_TOP:
        return None
    await verify_ina226(chip)
    return Found("INA226 (maker and die identifiers)", tuple(sorted(SIGNALS)))


INA219_PROBES = (I2cProbe(ADDRESSES, Writes.REGISTER, _ask_ina219),)
INA226_PROBES = (I2cProbe(ADDRESSES, Writes.REGISTER, _ask_ina226),)
