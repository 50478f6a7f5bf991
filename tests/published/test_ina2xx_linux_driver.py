"""Registers of the INA219 and INA226 against the Linux kernel's driver.

Source: Linux, drivers/hwmon/ina2xx.c: reset configuration of the INA219 0x399F; shunt
counts per mV 100 and 400; supply shift 3 and 0 bits, 4000 and 1250 µV a count; averaging
field of the INA226 at bit 9 with 1, 4, 16 … samples; 2.2 ms for both conversions; the
worst conversion of the INA219 takes 68.10 ms.
"""

import pytest

from linetender_drivers.fan.ina2xx_decode import INA219, INA226, Ina2xx, bus_v, shunt_v

LINUX = {
    "INA219": {"shunt_div": 100, "bus_voltage_shift": 3, "bus_voltage_lsb_uv": 4000},
    "INA226": {"shunt_div": 400, "bus_voltage_shift": 0, "bus_voltage_lsb_uv": 1250},
}
INA226_AVERAGES = (1, 4, 16, 64, 128, 256, 512, 1024)


@pytest.mark.parametrize("part", [INA219, INA226], ids=lambda part: part.name)
@pytest.mark.parametrize("word", [0x0000, 0x0008, 0x1234, 0x5DC2, 0x7FF8, 0x8000, 0xFFF8])
def test_both_read_the_same(part: Ina2xx, word: int) -> None:
    linux = LINUX[part.name]
    frame = word.to_bytes(2, "big")
    signed = word - 0x10000 if word & 0x8000 else word
    assert shunt_v(frame, part, "fan") == pytest.approx(signed / linux["shunt_div"] / 1000)
    bus_uv = (word >> linux["bus_voltage_shift"]) * linux["bus_voltage_lsb_uv"]
    assert bus_v(frame, part, "fan") == pytest.approx(bus_uv / 1e6)


def test_configurations() -> None:
    assert INA219.reset_configuration == 0x399F
    # Range and gain as after reset; 128 samples (1111) for both; triggered (011).
    assert INA219.configuration == 0x399F & 0x3800 | 0b1111_1111_011
    assert INA219.conversion_s > 2 * 0.06810 * 1.1
    averages = INA226_AVERAGES[(INA226.configuration >> 9) & 7]
    assert averages == 16
    assert INA226.conversion_s > averages * 0.0022 * 1.1
    # What Linux writes, with 16 averages, in continuous conversion: ours but the mode.
    assert INA226.configuration | 0x4 == 0x4527
