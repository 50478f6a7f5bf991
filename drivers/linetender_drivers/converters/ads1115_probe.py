"""How an ADS1115 is recognised: by the reset values of its thresholds.

What is wired to it cannot be asked: that the station file must say.
"""

from linetender_drivers.converters.ads1115 import verify_ads1115
from linetender_drivers.i2c_probe import Found, I2cProbe, Writes
from linetender_drivers.i2c_sensor import I2cChip

ADDRESSES = (0x48, 0x49, 0x4A, 0x4B)
WHAT = "ADS1115, by its reset values"


async def _ask_for_pressure(chip: I2cChip) -> Found | None:
    await verify_ads1115(chip)
    to_fill_in = {
        "low_pa": "pressure at the low end of the transducer, Pa",
        "high_pa": "pressure at its high end, Pa",
    }
    return Found(f"{WHAT}; with a pressure transducer", ("duct_pressure_pa",), {}, to_fill_in)


async def _ask_for_co_cell(chip: I2cChip) -> Found | None:
    await verify_ads1115(chip)
    to_fill_in = {
        "sensitivity_na_per_ppm": "from the cell's label, nA/ppm",
        "gain_ohm": "resistor of the cell's amplifier, ohm",
        "reference_mv": "measured, mV",
    }
    return Found(f"{WHAT}; with a carbon-monoxide cell", ("intake_co_ppm",), {}, to_fill_in)


PRESSURE_PROBES = (I2cProbe(ADDRESSES, Writes.REGISTER, _ask_for_pressure),)
CO_CELL_PROBES = (I2cProbe(ADDRESSES, Writes.REGISTER, _ask_for_co_cell),)
