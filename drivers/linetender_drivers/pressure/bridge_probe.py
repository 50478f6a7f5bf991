"""How a bridge sensor (MS4525DO, HSC, SSC) is recognised: it keeps giving measurements.

Which one it is, and its range, cannot be asked: the station file must say.
"""

from linetender_drivers.i2c_probe import Found, I2cProbe, Writes
from linetender_drivers.i2c_sensor import I2cChip
from linetender_drivers.pressure.bridge_sensor import looks_like_a_bridge_sensor

SIGNALS = ("filter_pressure_pa", "element_temperature_c")


async def _ask_ms4525do(chip: I2cChip) -> Found | None:
    if not await looks_like_a_bridge_sensor(chip):
        return None
    to_fill_in = {"range_psi": "1, 2, 5, 15 or 30: see its label"}
    return Found("some bridge sensor; if it is an MS4525DO", SIGNALS, {}, to_fill_in)


async def _ask_hsc(chip: I2cChip) -> Found | None:
    if not await looks_like_a_bridge_sensor(chip):
        return None
    to_fill_in = {"part_number": "its whole part number: see its label"}
    return Found("some bridge sensor; if it is an HSC or SSC", SIGNALS, {}, to_fill_in)


MS4525DO_PROBES = (I2cProbe((0x28, 0x36, 0x46), Writes.NOTHING, _ask_ms4525do),)
HSC_PROBES = (I2cProbe((0x28,), Writes.NOTHING, _ask_hsc),)
