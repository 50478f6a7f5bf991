"""A bell rings at the last instant it was set to, and a time limit as often as it is entered."""

import asyncio

import pytest

from linetender.runtime.bell import Bell
from linetender.runtime.time_limit import TimeLimit
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

S = 1_000_000_000


@pytest.mark.parametrize(
    ("moves", "rings_at_s"),
    [
        ([(0, 5)], 5),
        ([(0, 5), (1, 8)], 8),
        ([(0, 5), (1, 2)], 2),
        ([(0, 5), (1, 8), (2, 3)], 3),
        ([(0, 5), (4, 9), (6, 7)], 7),
        ([(0, 0)], 0),
    ],
)
def test_it_rings_once_at_the_last_instant(moves: list[tuple[int, int]], rings_at_s: int) -> None:
    async def rung() -> list[int]:
        clock, event = VirtualClock(), asyncio.Event()
        bell = Bell(clock, event)
        rings = []

        async def listen() -> None:
            while True:
                await event.wait()
                event.clear()
                rings.append(clock.now_ns())

        listener = asyncio.create_task(listen())
        for at_s, to_s in moves:
            await clock.sleep_until_ns(at_s * S)
            bell.move(to_s * S)
        await clock.sleep_until_ns(20 * S)
        listener.cancel()
        return rings

    assert run_virtual(rung()) == [rings_at_s * S]


def test_a_stopped_bell_is_silent_and_can_be_set_again() -> None:
    async def rung() -> tuple[bool, bool]:
        clock, event = VirtualClock(), asyncio.Event()
        bell = Bell(clock, event)
        bell.move(5 * S)
        await clock.sleep(1.0)
        bell.stop()
        await clock.sleep(10.0)
        silent = not event.is_set()
        bell.move(20 * S)
        await clock.sleep(20.0)
        return silent, event.is_set()

    assert run_virtual(rung()) == (True, True)


def test_a_time_limit_counts_anew_each_time() -> None:
    async def ends() -> list[object]:
        clock, limit = VirtualClock(), TimeLimit()
        seen: list[object] = []
        for limit_s, needs_s in ((2.0, 1.5), (2.0, 1.9), (2.0, 3.0), (0.5, 0.6), (9.0, 0.1)):
            try:
                with limit.of(limit_s):
                    await clock.sleep(needs_s)
            except TimeoutError:
                seen.append("late")
            else:
                seen.append("in time")
            seen.append(clock.now_ns() / S)
        limit.stop()
        return seen

    expected = ["in time", 1.5, "in time", 3.4, "late", 5.4, "late", 5.9, "in time", 6.0]
    assert run_virtual(ends()) == expected


def test_a_cancellation_from_outside_is_no_time_out() -> None:
    async def outcome() -> str:
        clock, limit = VirtualClock(), TimeLimit()

        async def work() -> None:
            with limit.of(5.0):
                await clock.sleep(10.0)

        task = asyncio.create_task(work())
        await clock.sleep(1.0)
        task.cancel()
        (result,) = await asyncio.gather(task, return_exceptions=True)
        limit.stop()
        return type(result).__name__

    assert run_virtual(outcome()) == "CancelledError"


def test_what_the_block_raises_itself_passes() -> None:
    async def work() -> None:
        with TimeLimit().of(5.0):
            raise KeyError("ours")

    with pytest.raises(KeyError, match="ours"):
        run_virtual(work())
