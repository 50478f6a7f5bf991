"""Virtual time: exact instants, no waiting, and no waiting for ever."""

import asyncio
import contextlib
import os
import threading
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linetender_drivers.simulated.virtual_time import (
    NS_PER_S,
    NothingLeftToWaitFor,
    VirtualClock,
    VirtualTimeLoop,
    run_virtual,
)

CLOCK = VirtualClock()


def test_an_hour_takes_no_time_and_every_tick_is_exact() -> None:
    async def tick() -> list[int]:
        seen = []
        for _ in range(90_000):
            await CLOCK.sleep(0.04)
            seen.append(CLOCK.now_ns())
        return seen

    started = time.monotonic()
    assert run_virtual(tick()) == [40_000_000 * k for k in range(1, 90_001)]
    assert time.monotonic() - started < 60  # not the hour


@settings(deadline=None)
@given(st.lists(st.integers(0, 3 * 24 * 3600 * NS_PER_S), max_size=20))
def test_timers_fire_in_order_at_exactly_their_instant(instants: list[int]) -> None:
    async def one(instant_ns: int, seen: list[int]) -> None:
        await CLOCK.sleep_until_ns(instant_ns)
        seen.append(instant_ns)
        assert CLOCK.now_ns() == instant_ns

    async def all_of_them() -> list[int]:
        seen: list[int] = []
        async with asyncio.TaskGroup() as group:
            for instant in instants:
                group.create_task(one(instant, seen))
        return seen

    assert run_virtual(all_of_them()) == sorted(instants)


class _AsAsyncioDoes(VirtualTimeLoop):
    """A loop that looks around at every turn, as asyncio's own does."""

    def _need_not_look_around(self) -> bool:
        return False


STEPS = st.one_of(
    st.tuples(st.just("sleep"), st.sampled_from((0, 1, 2, 3, 5, 40))),
    st.tuples(st.just("timer"), st.sampled_from((0, 1, 2, 3, 5, 40))),
    st.tuples(st.just("wait"), st.sampled_from((0, 1, 2, 3, 5, 40))),
    st.tuples(st.just("set"), st.just(0)),
)
"""What a task does next, and how many ms it takes; many are due at once."""


@settings(deadline=None)
@given(st.lists(st.lists(STEPS, max_size=12), min_size=1, max_size=5))
def test_turns_without_a_look_around_do_the_same_in_the_same_order(
    programs: list[list[tuple[str, int]]],
) -> None:
    async def one(who: int, steps: list[tuple[str, int]], rung: asyncio.Event) -> None:
        for number, (what, ms) in enumerate(steps):
            said.append((CLOCK.now_ns(), who, number))
            if what == "set":
                rung.set()
                rung.clear()
            elif what == "sleep":
                await CLOCK.sleep(ms / 1000)
            elif what == "timer":
                await asyncio.sleep(ms / 1000)
            else:
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(rung.wait(), ms / 1000)

    async def together() -> None:
        rung = asyncio.Event()
        async with asyncio.TaskGroup() as group:
            for who, steps in enumerate(programs):
                group.create_task(one(who, steps, rung))

    told = []
    for loop in (VirtualTimeLoop, _AsAsyncioDoes):
        said: list[tuple[int, int, int]] = []
        with asyncio.Runner(loop_factory=loop) as runner:
            runner.run(together())
        told.append(said)
    assert told[0] == told[1]


def test_plain_asyncio_timers_use_virtual_time() -> None:
    async def late() -> int:
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(7.5):
                await asyncio.Event().wait()
        return CLOCK.now_ns()

    assert run_virtual(late()) == 7_500_000_000


@pytest.mark.parametrize("speed", [0.0, 50.0])
def test_the_same_program_sees_the_same_instants_at_every_speed(speed: float) -> None:
    async def ticks(period_s: float, name: str, seen: list[tuple[int, str]]) -> None:
        for _ in range(5):
            await CLOCK.sleep(period_s)
            seen.append((CLOCK.now_ns(), name))

    async def both() -> list[tuple[int, str]]:
        seen: list[tuple[int, str]] = []
        await asyncio.gather(ticks(0.3, "a", seen), ticks(0.5, "b", seen))
        return seen

    assert run_virtual(both(), speed) == [
        (300_000_000, "a"),
        (500_000_000, "b"),
        (600_000_000, "a"),
        (900_000_000, "a"),
        (1_000_000_000, "b"),
        (1_200_000_000, "a"),
        (1_500_000_000, "b"),
        (1_500_000_000, "a"),
        (2_000_000_000, "b"),
        (2_500_000_000, "b"),
    ]


def test_with_a_speed_real_time_is_waited_for() -> None:
    started_ns = time.monotonic_ns()
    run_virtual(CLOCK.sleep(1.0), speed=20.0)
    assert time.monotonic_ns() - started_ns >= NS_PER_S // 20


def test_with_a_speed_another_thread_wakes_the_loop_before_its_timer() -> None:
    async def wait() -> int:
        loop = asyncio.get_running_loop()
        woken = asyncio.Event()
        threading.Timer(0.1, loop.call_soon_threadsafe, (woken.set,)).start()
        async with asyncio.timeout(600):
            await woken.wait()
        return CLOCK.now_ns()

    woken_ns = run_virtual(wait(), speed=10.0)
    assert 0.2 * NS_PER_S <= woken_ns < 60 * NS_PER_S


def test_with_a_speed_and_no_timer_time_still_follows() -> None:
    async def wait() -> int:
        loop = asyncio.get_running_loop()
        reader, writer = os.pipe()
        woken = asyncio.Event()
        loop.add_reader(reader, woken.set)
        threading.Timer(0.1, os.write, (writer, b"x")).start()
        await woken.wait()
        loop.remove_reader(reader)
        os.close(reader)
        os.close(writer)
        return CLOCK.now_ns()

    assert run_virtual(wait(), speed=10.0) >= 0.2 * NS_PER_S


def test_without_timers_a_thread_is_waited_for() -> None:
    async def wait() -> int:
        loop = asyncio.get_running_loop()
        woken = asyncio.Event()
        threading.Timer(0.02, loop.call_soon_threadsafe, (woken.set,)).start()
        await woken.wait()
        return CLOCK.now_ns()

    assert run_virtual(wait()) == 0


def test_waiting_for_what_never_comes_is_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    # Threads left over from other tests must not buy this one ten seconds.
    monkeypatch.setattr("linetender_drivers.simulated.virtual_time.PATIENCE_S", 0.01)

    async def stuck() -> None:
        await CLOCK.sleep(1.5)
        await asyncio.Event().wait()

    with pytest.raises(NothingLeftToWaitFor, match="stands at 1500000000 ns"):
        run_virtual(stuck())


def test_the_clock_needs_its_loop() -> None:
    async def ask() -> None:
        CLOCK.now_ns()

    with pytest.raises(RuntimeError, match="run_virtual"):
        asyncio.run(ask())


def test_a_negative_speed_is_refused() -> None:
    with pytest.raises(ValueError, match="speed is -1"):
        VirtualTimeLoop(-1)
