"""One task waits as for an event: each setting is seen, in whatever order they come."""

import asyncio
from collections.abc import Callable

import pytest

from linetender.runtime.single_wait import SingleWait
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

S = 1_000_000_000

Kind = Callable[[], "SingleWait | asyncio.Event"]


@pytest.mark.parametrize("kind", [SingleWait, asyncio.Event])
@pytest.mark.parametrize(
    ("sets_at_s", "expected_s"),
    [
        ([], []),
        ([0], [0]),
        ([2, 2, 5], [2, 2, 5]),
        ([1, 2, 3], [1, 2, 3]),
    ],
)
def test_it_wakes_its_task_as_an_event_does(
    kind: Kind, sets_at_s: list[int], expected_s: list[int]
) -> None:
    async def woken() -> list[int]:
        clock, event = VirtualClock(), kind()
        seen = []

        async def listen() -> None:
            while True:
                await event.wait()
                event.clear()
                seen.append(clock.now_ns() // S)

        if 0 in sets_at_s:
            event.set()  # before anybody waits
        listener = asyncio.create_task(listen())
        for at_s in sets_at_s:
            await clock.sleep_until_ns(at_s * S)
            if at_s:
                event.set()
        await clock.sleep_until_ns(9 * S)
        listener.cancel()
        return seen

    assert run_virtual(woken()) == expected_s


@pytest.mark.parametrize("kind", [SingleWait, asyncio.Event])
def test_what_was_set_and_cleared_before_the_task_ran_still_wakes_it(kind: Kind) -> None:
    async def woken() -> bool:
        event = kind()
        waiting = asyncio.create_task(event.wait())
        await asyncio.sleep(0)
        event.set()
        event.clear()
        await asyncio.wait_for(waiting, 1.0)
        return waiting.done()

    assert run_virtual(woken())


def test_a_wait_that_was_cancelled_leaves_room_for_the_next() -> None:
    async def woken() -> list[int]:
        clock, event = VirtualClock(), SingleWait()
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(event.wait(), 2.0)
        asyncio.get_running_loop().call_later(3.0, event.set)
        await event.wait()
        return [clock.now_ns() // S]

    assert run_virtual(woken()) == [5]


def test_a_second_task_is_refused() -> None:
    async def refused() -> None:
        event = SingleWait()
        first = asyncio.create_task(event.wait())
        await asyncio.sleep(0)
        with pytest.raises(RuntimeError, match="only one"):
            await event.wait()
        event.set()
        await first

    run_virtual(refused())
