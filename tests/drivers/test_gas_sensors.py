"""The gas sensors: commands that must never reach another chip, and what a CO cell says."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from linetender_drivers.errors import BadFrame, DeviceTimeout, DriverError
from linetender_drivers.gas.ads1115_co_cell_decode import CoCell
from linetender_drivers.gas.ads1115_co_cell_spec import Ads1115CoCellOptions
from linetender_drivers.gas.scd4x_decode import decode_reading as decode_scd4x
from linetender_drivers.gas.scd30_decode import decode_reading as decode_scd30
from linetender_drivers.measurements import Measurement
from linetender_drivers.simulated.scd4x_chip import Scd4xChip
from linetender_drivers.simulated.virtual_time import run_virtual
from sensor_benches import CASES, Bench, SensorCase

BY_NAME = {case.driver: case for case in CASES}
OTHERS = [case for case in CASES if case.driver != "scd4x"]


@pytest.mark.parametrize("case", OTHERS, ids=str)
@pytest.mark.parametrize("measures", [False, True])
def test_no_other_driver_recalibrates_an_scd4x_or_writes_its_memory(
    case: SensorCase, measures: bool
) -> None:
    async def work() -> Scd4xChip:
        bench = Bench(case)
        chip = Scd4xChip()
        bench.bus.attach(case.address, chip)
        if measures:
            await bench.bus.transfer(case.address, bytes.fromhex("21B1"), 0)
        for _ in range(3):
            with pytest.raises(DriverError):
                await bench.sensor.open()
            with pytest.raises(DriverError):
                await bench.sensor.read()
            await bench.sensor.close()
        return chip

    chip = run_virtual(work())
    assert (chip.memory_writes, chip.recalibrations) == (0, 0)


def test_the_scd4x_driver_itself_never_does_either() -> None:
    async def work() -> set[str]:
        bench = Bench(BY_NAME["scd4x"])
        for _ in range(2):
            await bench.sensor.open()
            await bench.sensor.read()
            await bench.sensor.close()
        return {transfer.write.hex() for transfer in bench.bus.transfers}

    assert run_virtual(work()).isdisjoint({"3615", "362f"})


@pytest.mark.parametrize("driver", ["scd30", "scd4x"])
def test_a_chip_that_measures_nothing_times_out(driver: str) -> None:
    async def work() -> None:
        bench = Bench(BY_NAME[driver])
        await bench.sensor.open()
        stop = bytes.fromhex("0104" if driver == "scd30" else "3F86")
        bench.chip.write(stop, bench.clock.now_ns())
        await bench.clock.sleep(0.6)
        with pytest.raises(DeviceTimeout):
            await bench.sensor.read()

    run_virtual(work())


@pytest.mark.parametrize(
    ("driver", "quantity", "value"),
    [
        ("scd30", "co2_ppm", 0.0),
        ("scd30", "co2_ppm", 65_000.0),
        ("scd30", "temperature_c", 120.0),
        ("scd30", "humidity_percent", 130.0),
        ("scd4x", "co2_ppm", 0.0),
        ("scd4x", "temperature_c", 100.0),
    ],
)
def test_an_impossible_measurement_is_no_number(driver: str, quantity: str, value: float) -> None:
    async def work() -> tuple[Measurement, ...]:
        bench = Bench(BY_NAME[driver])
        setattr(bench.chip, quantity, lambda _: value)
        await bench.sensor.open()
        return await bench.sensor.read()

    assert run_virtual(work()) == (Measurement("hood_co2_ppm", reason="out_of_range"),)


CELL = CoCell(20.0, 100_000.0, 1.5, 0.002, 1000.0)


@pytest.mark.parametrize(
    ("output_v", "reference_v", "co_ppm"),
    [
        (1.502, 1.5, 0.0),
        (1.562, 1.5, 30.0),  # 20 nA/ppm · 30 ppm · 100 kΩ = 60 mV
        (1.612, 1.55, 30.0),  # the reference drifts, the gas does not
        (1.492, 1.5, -5.0),
        (1.402, 1.5, None),  # -50 ppm: reversed or broken
        (3.6, 1.5, None),  # beyond the cell
        (0.0, 0.0, None),  # no power
        (1.5, 3.3, None),
    ],
)
def test_a_co_cell(output_v: float, reference_v: float, co_ppm: float | None) -> None:
    found = CELL.co_ppm(output_v, reference_v)
    assert found == (co_ppm if co_ppm is None else pytest.approx(co_ppm, abs=1e-9))


@pytest.mark.parametrize(
    "wrong",
    [
        {"gain_ohm": 0.0},
        {"reference_input": 0},
        {"sensitivity_na_per_ppm": float("nan")},
        {"address": 0x62},
    ],
)
def test_bad_options_of_a_co_cell_are_refused(wrong: dict[str, object]) -> None:
    options = {"bus": "simulated", **BY_NAME["ads1115_co_cell"].options}
    Ads1115CoCellOptions.model_validate(options)
    with pytest.raises(ValidationError):
        Ads1115CoCellOptions.model_validate(options | wrong)


@given(st.binary(max_size=14))
def test_any_words_are_a_reading_or_a_bad_frame(words: bytes) -> None:
    for decode, length in ((decode_scd30, 12), (decode_scd4x, 6)):
        for frame in (words, words.ljust(length, b"\x42")[:length]):
            try:
                reading = decode(frame, "co2")
            except BadFrame as error:
                assert error.frame == frame
            else:
                assert len(frame) == length
                assert all(value == value for value in reading)
