"""Real drivers read the world's bytes while scripted hands work on it, in virtual time."""

import asyncio
from typing import cast

import pytest

from linetender.simulation.demo_scenario import DEMO_SCRIPT
from linetender.simulation.devices import ButtonWiring, Rig
from linetender.simulation.hands import play
from linetender.simulation.knobs import Knob
from linetender.simulation.script import End, Order, Script, Turn, at, press
from linetender.simulation.world import World
from linetender_drivers.contracts import InputDevice, Sensor
from linetender_drivers.registry import find_spec
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

S = 1_000_000_000


def make_rig(seed: int = 1, **kwargs: object) -> Rig:
    return Rig(World(seed), SimulatedMachine(VirtualClock()), **kwargs)  # type: ignore[arg-type]


def open_device(rig: Rig, driver: str, options: dict[str, object], *roles: str) -> object:
    spec = find_spec(driver)
    return spec.opener()("device", spec.options(**options), rig.machine, roles)


async def readings(sensor: Sensor, clock: VirtualClock, into: list[tuple[int, str, float]]) -> None:
    await sensor.open()
    while True:
        for measured in await sensor.read():
            assert measured.value is not None
            into.append((clock.now_ns(), measured.signal, measured.value))


async def contacts(device: InputDevice, clock: VirtualClock, into: list[tuple[int, str]]) -> None:
    await device.open()
    while True:
        change = await device.change()
        if not into or into[-1][1] != change.state:
            into.append((clock.now_ns(), change.state))


async def demo(
    seed: int,
) -> tuple[list[tuple[int, str, float]], list[tuple[int, str]], list[tuple[int, Order]]]:
    rig, clock = make_rig(seed), VirtualClock()
    air = open_device(
        rig, "sdp8xx", {"bus": "simulated", "product": "SDP810-500Pa"}, "hood_pressure_pa"
    )
    oximeter = open_device(
        rig, "plx_oximeter", {"address": "simulated"}, "spo2_percent", "pulse_rate_bpm"
    )
    button = open_device(
        rig, "gpio_button", {"chip": "simulated", "no_gpio": 17, "nc_gpio": 27}, "answer"
    )
    seen: list[tuple[int, str, float]] = []
    pressed: list[tuple[int, str]] = []
    orders: list[tuple[int, Order]] = []
    tasks = [
        asyncio.ensure_future(readings(air, clock, seen)),  # type: ignore[arg-type]
        asyncio.ensure_future(readings(oximeter, clock, seen)),  # type: ignore[arg-type]
        asyncio.ensure_future(contacts(button, clock, pressed)),  # type: ignore[arg-type]
    ]
    await play(DEMO_SCRIPT, rig, lambda order: orders.append((clock.now_ns(), order)))
    assert clock.now_ns() == DEMO_SCRIPT.end_ns
    assert not any(task.done() for task in tasks)
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)
    return seen, pressed, orders


def test_the_demo_through_real_drivers() -> None:
    seen, pressed, orders = run_virtual(demo(1))
    assert orders == [(10 * S, Order.START), (84 * S, Order.OUT)]
    assert [state for _, state in pressed] == ["open", "closed", "open"]
    assert 77 * S < pressed[1][0] < 77.1 * S

    air = [(at_ns / S, value) for at_ns, signal, value in seen if signal == "hood_pressure_pa"]
    assert len(air) > 24 * 89

    def percents(from_s: float, to_s: float) -> list[float]:
        return [100 * (max(v, 0.0) / 60.0) ** 0.54 for t, v in air if from_s <= t < to_s]

    assert min(percents(12, 40)) > 93.0
    assert 65.0 < min(percents(45.1, 57)) < max(percents(45.1, 57)) < 85.0
    assert min(percents(57.1, 70)) > 93.0
    lost = next(t for t, v in air if t > 70 and 100 * (max(v, 0.0) / 60.0) ** 0.54 < 65.0)
    assert 70.8 < lost < 71.6
    assert max(percents(lost + 0.5, 90)) < 65.0

    spo2 = [value for _, signal, value in seen if signal == "spo2_percent"]
    assert len(spo2) > 80
    assert 95.0 <= min(spo2) <= max(spo2) <= 99.0  # it shows nothing yet: it trails


def test_the_demo_is_the_same_each_time() -> None:
    once = run_virtual(demo(5))
    assert run_virtual(demo(5)) == once
    assert run_virtual(demo(6)) != once


def test_a_button_with_two_wires() -> None:
    async def scenario() -> list[tuple[int, str]]:
        rig, clock = make_rig(buttons={"answer": ButtonWiring(5)}), VirtualClock()
        button = open_device(rig, "gpio_button", {"chip": "simulated", "no_gpio": 5}, "answer")
        pressed: list[tuple[int, str]] = []
        task = asyncio.ensure_future(contacts(button, clock, pressed))  # type: ignore[arg-type]
        await play(Script((*press(2.0, "answer"), at(4.0, End()))), rig, lambda _: None)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        return pressed

    assert [state for _, state in run_virtual(scenario())] == ["open", "closed", "open"]


def test_an_unknown_button_is_refused_before_anything_is_done() -> None:
    async def scenario() -> float:
        rig = make_rig()
        script = Script((at(0.0, Turn(Knob.FAN, 1.0)), *press(1.0, "help"), at(2.0, End())))
        with pytest.raises(ValueError, match=r"presses 'help'; buttons of this station: answer"):
            await play(script, rig, lambda _: None)
        return rig.world.airflow_l_min(5 * S)

    assert run_virtual(scenario()) == 0.0


def test_a_tachometer_counts_the_turns_of_the_fan() -> None:
    """2800 turns a minute at full speed; the coast down is the closed form of the fan's law."""

    async def watched() -> list[tuple[int, str, float]]:
        rig = make_rig()
        clock = VirtualClock()
        speed: list[tuple[int, str, float]] = []
        options: dict[str, object] = {"chip": "simulated", "gpio": 20}
        sensor = cast(Sensor, open_device(rig, "gpio_tachometer", options, "fan_speed_rpm"))
        rig.world.fan_start(0)
        tasks = [
            asyncio.create_task(rig.turn_tachometer()),
            asyncio.create_task(readings(sensor, clock, speed)),
        ]
        await clock.sleep(30.5)
        rig.world.fan_stop(clock.now_ns())
        await clock.sleep(10.0)
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        return speed

    turns = {at_ns // S: rpm for at_ns, _, rpm in run_virtual(watched())}
    assert turns[30] == pytest.approx(2800.0, rel=0.02)
    # 3 s after the power went, half of the speed is left, and a quarter after 9 s.
    assert turns[34] == pytest.approx(2800.0 / (1.0 + 3.0 / 3.0), rel=0.05)
    assert turns[40] == pytest.approx(2800.0 / (1.0 + 9.0 / 3.0), rel=0.05)


def test_gas_sensors_that_do_not_answer_leave_the_air_sensor_alone() -> None:
    rig_faults: list[int | None] = []

    async def unplugged() -> None:
        rig = make_rig()
        rig.world.turn(0, Knob.GAS_SENSORS_UNPLUGGED, 1.0)
        rig.keep_up()
        bus = rig.machine.buses["simulated"]
        rig_faults.extend(fault.address for fault in bus.faults)
        rig.world.turn(0, Knob.GAS_SENSORS_UNPLUGGED, 0.0)
        rig.keep_up()
        assert bus.faults == []

    run_virtual(unplugged())
    assert rig_faults == [0x61, 0x48]
