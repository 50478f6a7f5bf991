"""An independent library reads our simulated ADS1115 as our driver does.

Witness: `ADS1115`, which opens an SMBus; a small adapter gives it the simulated one.
"""

import asyncio
from types import SimpleNamespace

import ADS1115
import pytest

from hand_clock import HandClock
from linetender_drivers.converters.ads1115 import convert, verify_ads1115
from linetender_drivers.i2c_sensor import I2cChip
from linetender_drivers.simulated.ads1115_chip import Ads1115Chip
from linetender_drivers.simulated.i2c_bus import SimulatedI2cBus
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

ADDRESS = 0x48


class SmBus:
    """What the library uses of an SMBus, on the simulated bus."""

    def __init__(self, bus: SimulatedI2cBus) -> None:
        self._bus = bus

    def write_i2c_block_data(self, address: int, register: int, data: list[int]) -> None:
        asyncio.run(self._bus.transfer(address, bytes([register, *data]), 0))

    def read_i2c_block_data(self, address: int, register: int, length: int) -> list[int]:
        return list(asyncio.run(self._bus.transfer(address, bytes([register]), length)))


def our_millivolts(chip: Ads1115Chip, analogue_input: int, full_scale_mv: int) -> float:
    async def work() -> float:
        clock = VirtualClock()
        bus = SimulatedI2cBus(clock)
        bus.attach(ADDRESS, chip)
        device = I2cChip("adc", bus, "simulated", ADDRESS, clock)
        await verify_ads1115(device)
        return 1000 * (await convert(device, analogue_input, full_scale_mv)).voltage_v

    chip.power_cycle()
    return run_virtual(work())


@pytest.mark.parametrize("full_scale_mv", [2048, 4096, 6144])
@pytest.mark.parametrize("analogue_input", [0, 1, 2, 3])
def test_both_read_the_same(
    analogue_input: int, full_scale_mv: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    chip = Ads1115Chip()
    chip.inputs_v = [lambda _, v=v: v for v in (0.0, 0.5003, 1.9, 1.2345)]
    clock = HandClock()
    bus = SimulatedI2cBus(clock)
    bus.attach(ADDRESS, chip)
    monkeypatch.setattr(ADS1115, "smbus2", SimpleNamespace(SMBus=lambda _: SmBus(bus)))
    monkeypatch.setattr(ADS1115, "time", SimpleNamespace(sleep=clock.wait))
    theirs = ADS1115.ADS1115(address=ADDRESS).readADCSingleEnded(
        channel=analogue_input, pga=full_scale_mv, sps=250
    )
    assert our_millivolts(chip, analogue_input, full_scale_mv) == pytest.approx(theirs, abs=1e-9)
    volts = chip.inputs_v[analogue_input](0)
    assert theirs == pytest.approx(1000 * volts, abs=full_scale_mv / 65536)
