"""Counts of the MS4525DO, HSC and SSC sensors against published ones.

Sources: data sheet of the MS4525DO as public drivers quote it (output type A is 10 to
90 % of 16383 counts; ±1 psi), worked by hand; Linux kernel, drivers/iio/pressure/
hsc030pa.c (ranges in pascal by pressure code, counts of the four transfer functions).
"""

import pytest

from linetender_drivers.pressure.bridge_decode import BridgeFrame, decode_bridge
from linetender_drivers.pressure.hsc_decode import FUNCTIONS, hsc_part
from linetender_drivers.pressure.ms4525do_decode import ms4525do_range

LINUX_RANGES_PA = {
    "1.6MD": (-160, 160),
    "2.5MD": (-250, 250),
    "010MD": (-1000, 1000),
    "600MD": (-60000, 60000),
    "001BD": (-100000, 100000),
    "2.5MG": (0, 250),
    "160LD": (-160, 160),
    "250LD": (-250, 250),
    "400LD": (-400, 400),
    "600LD": (-600, 600),
    "250LG": (0, 250),
    "001KD": (-1000, 1000),
    "1.6KD": (-1600, 1600),
    "100KD": (-100000, 100000),
    "0.5ND": (-125, 125),
    "001ND": (-249, 249),
    "002ND": (-498, 498),
    "004ND": (-996, 996),
    "005ND": (-1245, 1245),
    "010ND": (-2491, 2491),
    "030ND": (-7473, 7473),
    "005NG": (0, 1245),
    "001PD": (-6895, 6895),
    "005PG": (0, 34474),
}

LINUX_FUNCTIONS = {
    "A": (1638, 14746),
    "B": (819, 15565),
    "C": (819, 13926),
    "F": (655, 15401),
}


@pytest.mark.parametrize(("code", "ends_pa"), LINUX_RANGES_PA.items())
def test_hsc_range_by_pressure_code(code: str, ends_pa: tuple[int, int]) -> None:
    found = hsc_part(f"HSCDRRN{code}2A3").pressure_range
    assert (round(found.low_pa), round(found.high_pa)) == ends_pa


def test_hsc_transfer_functions() -> None:
    assert FUNCTIONS == {
        "A": (1638, 14746),
        "B": (819, 15565),
        "C": (819, 13926),
        "F": (655, 15401),
    }
    for letter, (low, high) in FUNCTIONS.items():
        found = hsc_part(f"SSCMRNN250LD2{letter}5").pressure_range
        assert found.pressure_pa(low) == -250.0
        assert found.pressure_pa(high) == 250.0


def test_hsc_function_a_of_250_pa() -> None:
    found = hsc_part("HSCDRRN250LD2A3").pressure_range
    assert found.pressure_pa(8192) == pytest.approx(0.0, abs=1e-9)
    step_pa = (found.pressure_pa(8193) or 0.0) - (found.pressure_pa(8192) or 0.0)
    assert step_pa == pytest.approx(0.0381, abs=5e-5)


def test_ms4525do_type_a_of_1_psi() -> None:
    found = ms4525do_range(1, "A")
    assert found.pressure_pa(8192) == pytest.approx(0.526, abs=5e-4)
    step_pa = (found.pressure_pa(8193) or 0.0) - (found.pressure_pa(8192) or 0.0)
    assert step_pa == pytest.approx(1.052, abs=5e-4)


def test_temperature() -> None:
    # 767 counts are 24.94 °C: 767 · 200 / 2047 - 50.
    frame = (0x2000 << 16 | 767 << 5).to_bytes(4, "big")
    decoded = decode_bridge(frame, "air")
    assert decoded == BridgeFrame(False, 8192, 767)
    assert decoded.temperature_c == pytest.approx(24.94, abs=5e-3)
