"""How a BME280 and a BMP280 are recognised: by their identifier."""

from linetender_drivers.ambient.bme280 import CHIP_ID
from linetender_drivers.ambient.bme280_decode import CHIP_IDS
from linetender_drivers.ambient.bme280_spec import BME280_SIGNALS, BMP280_SIGNALS
from linetender_drivers.i2c_probe import Found, I2cProbe, Writes
from linetender_drivers.i2c_sensor import I2cChip

ADDRESSES = (0x76, 0x77)


async def _ask(chip: I2cChip, variant: str, signals: frozenset[str]) -> Found | None:
    (chip_id,) = await chip.ask_twice(CHIP_ID, 1)
    if chip_id != CHIP_IDS[variant]:
        return None
    return Found(f"{variant.upper()} (identifier 0x{chip_id:02x})", tuple(sorted(signals)))


async def _ask_bme280(chip: I2cChip) -> Found | None:
    return await _ask(chip, "bme280", BME280_SIGNALS)


async def _ask_bmp280(chip: I2cChip) -> Found | None:
    return await _ask(chip, "bmp280", BMP280_SIGNALS)


BME280_PROBES = (I2cProbe(ADDRESSES, Writes.REGISTER, _ask_bme280),)
BMP280_PROBES = (I2cProbe(ADDRESSES, Writes.REGISTER, _ask_bmp280),)
