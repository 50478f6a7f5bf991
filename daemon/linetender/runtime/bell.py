"""Sets an event at an instant that may be moved again and again, at little cost."""

import asyncio
from typing import Protocol

from linetender.runtime.clock import StationClock


class Ringing(Protocol):
    """What a bell sets: an `asyncio.Event`, or what is like it."""

    def set(self) -> None:
        """Let whoever waits go on."""


class Bell:
    """Rings once at the last instant it was set to. For one event loop; not for threads.

    A loop that waits for "the next input, or this instant" moves the instant at each
    turn, nearly always to a later one: the task that sleeps then sleeps on.

    Args:
        clock: Watch time.
        rings: The event to set.
    """

    def __init__(self, clock: StationClock, rings: Ringing) -> None:
        self._clock = clock
        self._rings = rings
        self._at_ns: int | None = None
        self._wakes_ns = 0
        self._sleeper: asyncio.Task[None] | None = None

    def move(self, at_ns: int) -> None:
        """Ring at this instant of Watch time, and not before."""
        self._at_ns = at_ns
        if self._sleeper is None or self._sleeper.done():
            self._sleeper = asyncio.ensure_future(self._sleep())
        elif at_ns < self._wakes_ns:
            self._sleeper.cancel()
            self._sleeper = asyncio.ensure_future(self._sleep())
        else:
            return
        self._wakes_ns = at_ns

    def stop(self) -> None:
        """Ring no more."""
        self._at_ns = None
        if self._sleeper is not None:
            self._sleeper.cancel()
            self._sleeper = None

    async def _sleep(self) -> None:
        while (at_ns := self._at_ns) is not None and self._clock.now_ns() < at_ns:
            self._wakes_ns = at_ns
            await self._clock.sleep_until_ns(at_ns)
        if at_ns is not None:
            self._at_ns = None
            self._rings.set()
