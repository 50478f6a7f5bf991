"""The fan's sensors: current, voltage and speed."""

import asyncio
import contextlib
from collections.abc import Awaitable, Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from linetender_drivers.errors import BadFrame, DriverConfigError, DriverError, FailureReason
from linetender_drivers.fan.gpio_tachometer import open_gpio_tachometer
from linetender_drivers.fan.gpio_tachometer_decode import speed_rpm
from linetender_drivers.fan.gpio_tachometer_spec import SPEC, GpioTachometerOptions
from linetender_drivers.fan.ina2xx_decode import INA219, INA226, Ina2xx, bus_v, shunt_v
from linetender_drivers.measurements import Measurement
from linetender_drivers.registry import find_spec
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.tachometer import turn
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual
from sensor_benches import CASES, Bench

BY_NAME = {case.driver: case for case in CASES}


@pytest.mark.parametrize(
    ("driver", "current_a", "supply_v", "expected"),
    [
        # 3.2 A through 100 mΩ and 8.192 A through 10 mΩ are the ends of the ranges.
        ("ina219", 3.19, 12.0, (3.19, 12.0)),
        ("ina219", 5.0, 12.0, (None, 12.0)),
        ("ina219", -5.0, 12.0, (None, 12.0)),
        ("ina219", 0.0, 30.0, (0.0, None)),
        ("ina226", 8.0, 36.0, (8.0, 36.0)),
        ("ina226", 9.0, 40.0, (None, None)),
    ],
)
def test_beyond_its_range_there_is_no_number(
    driver: str, current_a: float, supply_v: float, expected: tuple[float | None, float | None]
) -> None:
    async def work() -> tuple[Measurement, ...]:
        bench = Bench(BY_NAME[driver])
        bench.chip.current_a = lambda _: current_a
        bench.chip.supply_v = lambda _: supply_v
        await bench.sensor.open()
        return await bench.sensor.read()

    made = run_virtual(work())
    assert [one.signal for one in made] == ["fan_current_a", "supply_voltage_v"]
    for one, value in zip(made, expected, strict=True):
        assert one.value == (value if value is None else pytest.approx(value, abs=0.002))
        assert one.reason == ("out_of_range" if value is None else None)


def test_an_ina219_that_another_program_has_set_up_is_refused_and_ours_is_not() -> None:
    async def work() -> None:
        bench = Bench(BY_NAME["ina219"])
        for _ in range(2):  # the second time with our own configuration in it
            await bench.sensor.open()
            await bench.sensor.read()
            await bench.sensor.close()
        bench.chip.write(bytes.fromhex("051000"), bench.clock.now_ns())
        with pytest.raises(DriverError, match="cut its power once"):
            await bench.sensor.open()

    run_virtual(work())


@pytest.mark.parametrize(("driver", "other"), [("ina219", "00399f"), ("ina226", "004127")])
def test_a_conversion_that_another_program_ordered_is_no_reading(driver: str, other: str) -> None:
    async def work() -> None:
        bench = Bench(BY_NAME[driver])
        await bench.sensor.open()
        await bench.sensor.read()
        reading = asyncio.ensure_future(bench.sensor.read())
        while bench.bus.transfers[-1].read:  # until ours is ordered
            await bench.clock.sleep(0.001)
        bench.chip.write(bytes.fromhex(other), bench.clock.now_ns())
        with pytest.raises(BadFrame, match="configuration"):
            await reading

    run_virtual(work())


@pytest.mark.parametrize(
    ("part", "shunt", "bus", "volts"),
    [
        (INA219, "0001", "0008", (10e-6, 4e-3)),
        (INA219, "8300", "5DC2", (-0.320, 12.0)),
        (INA226, "0001", "0001", (2.5e-6, 1.25e-3)),
        (INA226, "8000", "2580", (-0.08192, 12.0)),
    ],
)
def test_registers_by_hand(part: Ina2xx, shunt: str, bus: str, volts: tuple[float, float]) -> None:
    found = (shunt_v(bytes.fromhex(shunt), part, "fan"), bus_v(bytes.fromhex(bus), part, "fan"))
    assert found == pytest.approx(volts, rel=1e-12)


@given(st.binary(max_size=4), st.sampled_from([INA219, INA226]))
def test_any_bytes_are_a_voltage_or_a_bad_frame(frame: bytes, part: Ina2xx) -> None:
    for decode, most in ((shunt_v, 0.33), (bus_v, 82.0)):
        try:
            volts = decode(frame, part, "fan")
        except BadFrame as error:
            assert error.frame == frame
            assert len(frame) != 2
        else:
            assert abs(volts) <= most


GPIO = 24


class Fan:
    """A tachometer on a simulated line and the fan that turns it."""

    def __init__(self, **options: object) -> None:
        self.clock = VirtualClock()
        self.machine = SimulatedMachine(self.clock)
        self.rpm = 1500.0
        model = GpioTachometerOptions.model_validate({"chip": "simulated", "gpio": GPIO, **options})
        self.sensor = open_gpio_tachometer("fan", model, self.machine, ("fan_speed_rpm",))
        self.pulses = model.pulses_per_turn


def on_fan(work: Callable[[Fan], Awaitable[object]], **options: object) -> object:
    async def run() -> object:
        fan = Fan(**options)
        pins, clock = fan.machine.simulated_pins, fan.clock
        turning = asyncio.ensure_future(turn(pins, clock, GPIO, lambda _: fan.rpm, fan.pulses))
        try:
            return await work(fan)
        finally:
            turning.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await turning

    return run_virtual(run())


@pytest.mark.parametrize("rpm", [120.0, 1500.0, 2870.0, 5900.0])
@pytest.mark.parametrize("pulses", [1, 2, 6])
def test_the_speed_is_within_its_resolution(rpm: float, pulses: int) -> None:
    async def work(fan: Fan) -> list[Measurement]:
        fan.rpm = rpm
        await fan.sensor.open()
        return [one for _ in range(3) for one in await fan.sensor.read()]

    made = on_fan(work, pulses_per_turn=pulses)
    assert isinstance(made, list)
    for one in made:
        assert one.value == pytest.approx(rpm, abs=60 / (2 * pulses) + 0.01)
        assert one.doubt is None


def test_a_fan_that_stops_reads_zero_with_doubt_and_turns_again() -> None:
    async def work(fan: Fan) -> list[tuple[float | None, str | None]]:
        await fan.sensor.open()
        seen = []
        for rpm in (1500.0, 0.0, 0.0, 1500.0, 1500.0):
            fan.rpm = rpm
            (one,) = await fan.sensor.read()
            seen.append((one.value, one.doubt))
        return seen

    seen = on_fan(work)
    assert isinstance(seen, list)
    assert seen[0][0] == pytest.approx(1500.0, abs=15.0)
    assert seen[2] == (0.0, "no_pulses")
    assert seen[4][0] == pytest.approx(1500.0, abs=15.0)
    assert seen[4][1] is None


def test_noise_is_no_speed_and_a_late_read_is_no_burst() -> None:
    async def work(fan: Fan) -> list[Measurement]:
        fan.rpm = 9000.0
        await fan.sensor.open()
        made = [*await fan.sensor.read()]
        fan.rpm = 1500.0
        await fan.sensor.read()
        await fan.clock.sleep(7.0)
        return [*made, *await fan.sensor.read()]

    noise, late = on_fan(work)  # type: ignore[misc]
    assert noise == Measurement("fan_speed_rpm", reason="out_of_range")
    assert late.value == pytest.approx(1500.0, abs=15.0)


def test_a_lost_line_is_an_error_and_never_a_stopped_fan() -> None:
    async def work(fan: Fan) -> None:
        await fan.sensor.close()
        with pytest.raises(DriverError) as caught:
            await fan.sensor.read()
        assert caught.value.reason is FailureReason.CLOSED
        await fan.sensor.open()
        fan.machine.simulated_pins._inputs[GPIO].close()
        with pytest.raises(DriverError) as caught:
            await fan.sensor.read()
        assert caught.value.reason is FailureReason.CLOSED
        await fan.sensor.close()
        await fan.sensor.open()
        assert (await fan.sensor.read())[0].value == pytest.approx(1500.0, abs=15.0)

    on_fan(work)


def test_a_line_that_is_taken_is_refused() -> None:
    async def work(fan: Fan) -> None:
        fan.machine.simulated_pins.input(GPIO, pull_up=True)
        with pytest.raises(DriverConfigError):
            await fan.sensor.open()

    on_fan(work)


def test_the_registry_knows_the_tachometer() -> None:
    assert find_spec("gpio_tachometer") is SPEC
    assert SPEC.opener() is open_gpio_tachometer
    options = GpioTachometerOptions(gpio=4)
    assert SPEC.provides(options) == {"fan_speed_rpm"}
    assert not options.is_simulated
    for wrong in ({}, {"gpio": 28}, {"gpio": 4, "pulses_per_turn": 0}, {"gpio": 4, "pull": "up"}):
        with pytest.raises(ValidationError):
            GpioTachometerOptions.model_validate(wrong)
    with pytest.raises(DriverConfigError):
        open_gpio_tachometer("fan", options, SimulatedMachine(VirtualClock()), ())


@given(st.integers(0, 10_000), st.integers(1, 10**11), st.integers(1, 12))
def test_the_speed_is_finite_and_in_proportion(edges: int, elapsed_ns: int, pulses: int) -> None:
    rpm = speed_rpm(edges, elapsed_ns, pulses)
    assert rpm >= 0.0
    assert speed_rpm(2 * edges, elapsed_ns, pulses) == pytest.approx(2 * rpm)


def test_worked_speed() -> None:
    # 100 edges in 1 s at two pulses a turn: 25 turns a second.
    assert speed_rpm(100, 10**9, 2) == pytest.approx(1500.0)
