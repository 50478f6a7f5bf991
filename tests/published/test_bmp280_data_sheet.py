"""The worked example of the BMP280 data sheet (section 3.12), with its known misprint.

The example prints T1 to P9, the raw values UT = 519888 and UP = 415148, t_fine = 128422,
25.08 °C, and 100653.27 Pa for the floating-point formulas. For the 64-bit integer code it
prints 25767236; that code, typed in below from section 3.11.3 as public drivers print
it, gives 25767233. Public tests of the part note the same difference.
"""

import pytest

from linetender_drivers.ambient.bme280_decode import (
    RawAir,
    compensate,
    decode_calibration,
    fine_temperature,
)
from linetender_drivers.simulated.bme280_chip import FIRST_CALIBRATION

UT, UP = 519888, 415148
T = (27504, 26435, -1000)
P = (36477, -10685, 3024, 2855, 140, -7, 15500, -14600, 6000)

PRINTED_BY_MISTAKE = 25767236
OF_THE_PRINTED_CODE = 25767233


def integer_t_fine(raw: int) -> int:
    t1, t2, t3 = T
    first = (((raw >> 3) - (t1 << 1)) * t2) >> 11
    second = (((((raw >> 4) - t1) * ((raw >> 4) - t1)) >> 12) * t3) >> 14
    return first + second


def integer_pressure_q24_8(raw: int, t_fine: int) -> int:
    p1, p2, p3, p4, p5, p6, p7, p8, p9 = P
    var1 = t_fine - 128000
    var2 = var1 * var1 * p6
    var2 += (var1 * p5) << 17
    var2 += p4 << 35
    var1 = ((var1 * var1 * p3) >> 8) + ((var1 * p2) << 12)
    var1 = (((1 << 47) + var1) * p1) >> 33
    p = 1048576 - raw
    p = (((p << 31) - var2) * 3125) // var1
    var1 = (p9 * (p >> 13) * (p >> 13)) >> 25
    var2 = (p8 * p) >> 19
    return ((p + var1 + var2) >> 8) + (p7 << 4)


def test_floating_point_formulas() -> None:
    calibration = decode_calibration(FIRST_CALIBRATION, b"", "weather")
    assert (calibration.t, calibration.p) == (T, P)
    air = compensate(RawAir(UP, UT, None), calibration)
    assert int(fine_temperature(UT, calibration)) == 128422
    assert round(air.temperature_c, 2) == 25.08
    assert round(air.pressure_pa, 2) == 100653.27
    assert air.humidity_percent is None


def test_integer_code_and_the_misprint() -> None:
    t_fine = integer_t_fine(UT)
    assert t_fine == 128422
    found = integer_pressure_q24_8(UP, t_fine)
    assert found == OF_THE_PRINTED_CODE != PRINTED_BY_MISTAKE


@pytest.mark.parametrize("raw_temperature", [300000, 450000, 519888, 600000])
@pytest.mark.parametrize("raw_pressure", [280000, 350000, 415148, 480000])
def test_both_agree_elsewhere(raw_temperature: int, raw_pressure: int) -> None:
    # The integer code truncates t_fine to 1/5120 °C and each step besides.
    calibration = decode_calibration(FIRST_CALIBRATION, b"", "weather")
    air = compensate(RawAir(raw_pressure, raw_temperature, None), calibration)
    t_fine = integer_t_fine(raw_temperature)
    assert air.temperature_c == pytest.approx(t_fine / 5120, abs=0.01)
    assert air.pressure_pa == pytest.approx(
        integer_pressure_q24_8(raw_pressure, t_fine) / 256, abs=1.5
    )
