"""What is particular to the pressure sensors besides the SDP8xx: what they say of themselves."""

from collections.abc import Awaitable, Callable

import pytest

from linetender_drivers.errors import BadFrame, DeviceNotFound, DriverError, FailureReason
from linetender_drivers.measurements import Measurement
from linetender_drivers.simulated.virtual_time import run_virtual
from sensor_benches import CASES, Bench

BY_NAME = {case.driver: case for case in CASES}
BRIDGES = ["ms4525do", "hsc"]


def on(driver: str, work: Callable[[Bench], Awaitable[object]]) -> object:
    async def run() -> object:
        return await work(Bench(BY_NAME[driver]))

    return run_virtual(run())


@pytest.mark.parametrize("driver", BRIDGES)
@pytest.mark.parametrize("trouble", ["has_stopped", "has_fault"])
def test_a_bridge_sensor_in_trouble_gives_no_number_and_comes_back(
    driver: str, trouble: str
) -> None:
    async def work(bench: Bench) -> object:
        await bench.sensor.open()
        await bench.sensor.read()
        setattr(bench.chip, trouble, True)
        for _ in range(2):
            with pytest.raises(BadFrame) as caught:
                await bench.sensor.read()
            assert caught.value.reason is FailureReason.BAD_FRAME
        with pytest.raises(DriverError):
            await bench.sensor.open()
        setattr(bench.chip, trouble, False)
        await bench.sensor.open()
        return (await bench.sensor.read())[0].reason

    assert on(driver, work) is None


@pytest.mark.parametrize(
    ("driver", "pressure_pa", "is_measured"),
    [
        ("hsc", 250.0, True),
        ("hsc", -254.0, True),
        ("hsc", 300.0, False),
        ("hsc", 9999.0, False),
        ("ms4525do", -6894.0, True),
        ("ms4525do", 7200.0, False),
        ("d6f_ph", 505.0, True),
        ("d6f_ph", -512.0, False),
        ("d6f_ph", 9999.0, False),
    ],
)
def test_pressure_within_and_beyond_the_range(
    driver: str, pressure_pa: float, is_measured: bool
) -> None:
    async def work(bench: Bench) -> object:
        await bench.sensor.open()
        bench.chip.pressure_pa = lambda _: pressure_pa
        return (await bench.sensor.read())[0]

    made = on(driver, work)
    assert isinstance(made, Measurement)
    assert made.reason == (None if is_measured else "out_of_range")
    if is_measured:
        assert made.value == pytest.approx(pressure_pa, abs=0.6)


@pytest.mark.parametrize("driver", ["d6f_ph", "ms4525do", "hsc"])
def test_a_chip_at_an_impossible_temperature_is_refused(driver: str) -> None:
    async def work(bench: Bench) -> None:
        bench.chip.temperature_c = lambda _: 140.0
        with pytest.raises(DeviceNotFound, match="temperature") as caught:
            await bench.sensor.open()
        assert caught.value.reason is FailureReason.WRONG_DEVICE

    on(driver, work)


def test_a_d6f_is_initialised_told_to_send_its_crc_and_left_alone_while_it_measures() -> None:
    async def work(bench: Bench) -> object:
        await bench.sensor.open()
        await bench.sensor.read()
        await bench.sensor.read()
        return [(t.at_ns // 1_000_000, t.write.hex(), len(t.read)) for t in bench.bus.transfers]

    pressure = ("00d0512c", "07")
    temperature = ("00d0612c", "07")
    assert on("d6f_ph", work) == [
        (0, "0b00", 0),
        (0, "00d0491802", 0),
        (0, "00d0401806", 0),
        *[(34, sent, 3 * (sent == "07")) for sent in temperature],
        (34, "00d0401806", 0),
        *[(68, sent, 3 * (sent == "07")) for sent in (*pressure, *temperature)],
        (84, "00d0401806", 0),
        *[(118, sent, 3 * (sent == "07")) for sent in pressure],
    ]


@pytest.mark.parametrize(("analogue_input", "volts"), [(0, 4.2), (1, 4.2), (1, 0.0), (0, 0.0)])
def test_a_transducer_without_its_wires_or_supply_gives_no_number(
    analogue_input: int, volts: float
) -> None:
    async def work(bench: Bench) -> object:
        await bench.sensor.open()
        bench.chip.inputs_v[analogue_input] = lambda _: volts
        return await bench.sensor.read()

    expected = (Measurement("filter_pressure_pa", reason="out_of_range"),)
    assert on("ads1115_pressure", work) == expected
