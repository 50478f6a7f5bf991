"""Pins follow what the core demands, each by itself, and come back when they fail."""

import asyncio
from collections.abc import Callable, Coroutine
from dataclasses import replace
from typing import Any

import pytest

from linetender.annunciation.patterns import LAMP_PATTERNS, SOUND_PATTERNS
from linetender.core.events import Demand, Sound
from linetender.core.inputs import Fact
from linetender.core.stages import Priority
from linetender.runtime.inbox import Inbox
from linetender.runtime.outputs import Output
from linetender.runtime.progress import MARGIN_NS, Progress
from linetender_drivers.errors import DriverError, FailureReason
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual
from runtime.fake_devices import ScriptedOutput, demo_device

S = 1_000_000_000
SILENT = Demand()
HIGH = Demand(Sound.HIGH, burst=1, light=Priority.HIGH)
MEDIUM = Demand(Sound.MEDIUM, burst=1, light=Priority.MEDIUM)
QUIET = Demand(burst=1, light=Priority.HIGH)


class Bench:
    """Outputs of the demo station on one virtual clock."""

    def __init__(self, first: Demand) -> None:
        self.clock = VirtualClock()
        self.inbox = Inbox(self.clock)
        self.progress = Progress()
        self.outputs: list[Output] = []
        self._first = first
        self._tasks: list[asyncio.Task[None]] = []

    def add(
        self, name: str, role: str = "", broken: Callable[[float], bool] = lambda _: False
    ) -> ScriptedOutput:
        pin = ScriptedOutput(self.clock, broken)
        device = demo_device(name)
        device = replace(device, output=role or device.output)
        output = Output(device, pin, self.inbox, self.clock, self.progress, self._first)
        self.outputs.append(output)
        self._tasks.append(asyncio.create_task(output.keep()))
        return pin

    def demand(self, demand: Demand) -> None:
        for output in self.outputs:
            output.demand(demand)

    async def stop(self) -> None:
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)


def on_a_bench(act: Callable[[Bench], Coroutine[Any, Any, None]], first: Demand = SILENT) -> None:
    async def run() -> None:
        bench = Bench(first)
        await act(bench)
        await bench.stop()

    run_virtual(run())


def edges_of(pattern_edges: tuple[Any, ...], from_s: float) -> list[tuple[float, bool]]:
    return [(round(from_s + edge.due_ns / S, 6), edge.on) for edge in pattern_edges]


def test_the_buzzer_sounds_at_once_and_by_the_pattern() -> None:
    async def act(bench: Bench) -> None:
        pin = bench.add("buzzer")
        await bench.clock.sleep(2)
        bench.demand(HIGH)
        assert pin.written == [(2.0, True)]  # before the call returns
        burst_s = (SOUND_PATTERNS[Sound.HIGH].repeat_ns() or 0) / S
        await bench.clock.sleep(burst_s - 0.01)
        assert pin.written == edges_of(SOUND_PATTERNS[Sound.HIGH].edges(), 2.0)
        await bench.clock.sleep(0.02)
        assert pin.written[-1] == (pytest.approx(2.0 + burst_s), True)

    on_a_bench(act)


def test_a_burst_begun_is_finished_and_then_it_is_silent() -> None:
    async def act(bench: Bench) -> None:
        pin = bench.add("buzzer")
        bench.demand(MEDIUM)
        await bench.clock.sleep(0.1)
        bench.demand(Demand(burst=1))
        await bench.clock.sleep(60)
        assert pin.written == edges_of(SOUND_PATTERNS[Sound.MEDIUM].edges(), 0.0)

    on_a_bench(act)


@pytest.mark.parametrize("name", ["buzzer", "lamp_red"])
def test_an_alarm_of_the_run_before_goes_on_from_the_first_instant(name: str) -> None:
    async def act(bench: Bench) -> None:
        pin = bench.add(name)
        await bench.clock.sleep(0.01)
        assert pin.written == [(0.0, True)]

    on_a_bench(act, first=HIGH)


def test_bursts_of_the_run_before_are_not_sounded_again() -> None:
    async def act(bench: Bench) -> None:
        pin = bench.add("buzzer")
        bench.demand(QUIET)
        await bench.clock.sleep(30)
        assert pin.written == []

    on_a_bench(act, first=QUIET)


REFUSED = DriverError("buzzer", "the kernel refuses", FailureReason.BUS_ERROR)


@pytest.mark.parametrize("failure", [REFUSED, RuntimeError("a mistake in a driver")])
def test_an_output_that_fails_is_reopened_and_the_others_go_on(failure: Exception) -> None:
    async def act(bench: Bench) -> None:
        buzzer = bench.add("buzzer", broken=lambda now_s: 2.0 <= now_s < 4.0)
        lamp = bench.add("lamp_red")
        buzzer.failure = failure
        await bench.clock.sleep(2)
        bench.demand(HIGH)
        await bench.clock.sleep(8.1)
        lamp_edges = edges_of(LAMP_PATTERNS[Priority.HIGH].edges(), 2.0)
        assert lamp.written[:2] == lamp_edges
        assert len(lamp.written) == 33  # each quarter of a second, from 2.0 to 10.0 inclusive
        # Tried anew 0.25, 0.5 and 1 s after each failure; then it sounds where it should.
        assert [at_s for at_s, call in buzzer.calls if call == "open"] == [2.25, 2.75, 3.75, 5.75]
        assert buzzer.written[0][0] == 5.75
        assert len(buzzer.written) > 8
        facts = [(item.arrived_ns / S, item.active) for item in bench.inbox.take()]  # type: ignore[union-attr]
        assert facts == [(2.0, True), (5.75, False)]

    on_a_bench(act)


def test_a_steady_lamp_is_lit_again_after_it_failed() -> None:
    broken = {"now": False}

    async def act(bench: Bench) -> None:
        lamp = bench.add("lamp_red", "lamp_yellow", broken=lambda _: broken["now"])
        await bench.clock.sleep(1)
        broken["now"] = True
        bench.demand(Demand(light=Priority.LOW))
        await bench.clock.sleep(1)
        broken["now"] = False
        await bench.clock.sleep(5)
        assert [on for _, on in lamp.written] == [True]

    on_a_bench(act)


def test_an_output_that_cannot_be_driven_breaks_its_promise() -> None:
    async def act(bench: Bench) -> None:
        bench.add("buzzer", broken=lambda now_s: now_s >= 2.0)
        await bench.clock.sleep(2)
        assert bench.progress.stalled(bench.clock.now_ns()) == ()
        bench.demand(HIGH)
        await bench.clock.sleep(1 + MARGIN_NS / S + 0.1)
        assert bench.progress.stalled(bench.clock.now_ns()) == ("buzzer",)

    on_a_bench(act)


def test_a_stop_closes_the_pin() -> None:
    pins: list[ScriptedOutput] = []

    async def act(bench: Bench) -> None:
        pins.append(bench.add("buzzer"))
        bench.demand(HIGH)
        await bench.clock.sleep(0.05)

    on_a_bench(act)
    assert pins[0].calls == [(0.05, "close")]


def test_a_failure_is_told_with_its_reason() -> None:
    async def act(bench: Bench) -> None:
        buzzer = bench.add("buzzer", broken=lambda _: True)
        buzzer.failure = REFUSED
        bench.demand(HIGH)
        assert bench.inbox.take() == [Fact(0, "device_failed", True, "buzzer", str(REFUSED))]

    on_a_bench(act)
