"""How a D6F-PH is recognised: on demand, by obeying its initialisation.

It has no identifier, and gives nothing before its settings are written. Another chip at
its addresses could store those bytes or obey them.
"""

from linetender_drivers.i2c_probe import Found, I2cProbe, Writes
from linetender_drivers.i2c_sensor import I2cChip
from linetender_drivers.pressure.d6f_ph import first_temperature_c
from linetender_drivers.pressure.d6f_ph_decode import TEMPERATURE_RANGE_C

ADDRESSES = (0x6C, 0x6D, 0x6E, 0x6F)
SIGNALS = ("duct_pressure_pa", "element_temperature_c")


async def _initialise(chip: I2cChip) -> Found | None:
    celsius = await first_temperature_c(chip)
    low_c, high_c = TEMPERATURE_RANGE_C
    if not low_c <= celsius <= high_c:
        return None
    to_fill_in = {"product": "D6F-PH0505, D6F-PH0025 or D6F-PH5050: see its label"}
    return Found(f"answers as a D6F-PH does, at {celsius:.1f} °C", SIGNALS, {}, to_fill_in)


PROBES = (I2cProbe(ADDRESSES, Writes.SETTING, _initialise),)
