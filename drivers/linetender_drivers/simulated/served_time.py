"""The time of a served world: a loop that asks the world to let time pass.

Time stands still while this program works. Whenever its loop would wait, it tells the
world until when, and goes on when the world says so: at that instant, or earlier when
something comes. What is real (a socket, a thread) wakes the loop as always.
"""

import asyncio
import selectors
import time
from collections.abc import Callable, Coroutine, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, TypeVar

from linetender_drivers.simulated.served_machine import ServedMachine
from linetender_drivers.simulated.virtual_time import (
    TimeSelector,
    VirtualClock,
    VirtualTimeLoop,
)
from linetender_drivers.simulated.world_link import WorldGone, WorldLink
from linetender_drivers.simulated.world_wire import Answer, Hello, Stay, Wait
from linetender_drivers.simulated_place import served

T = TypeVar("T")

LOOK_AGAIN_S = 0.001
"""So often it is looked whether something real is still under way (s)."""

AFTERWARDS_S = 0.5
"""So long threads may still call in once the world has gone (s)."""

Ready = list[tuple[selectors.SelectorKey, int]]


class RealContact:
    """Something real that simulated time must not run away from: a broker, a person's question.

    Args:
        is_under_way: Whether it goes on.
        most_s: So long simulated time stands still for it in all (real s).
        anew: Whether the limit begins anew each time that it is over.
    """

    def __init__(self, is_under_way: Callable[[], bool], most_s: float, *, anew: bool) -> None:
        self._is_under_way = is_under_way
        self._most_s = most_s
        self._anew = anew
        self._spent_s = 0.0

    def wants_time(self) -> bool:
        """Whether simulated time shall stand still for it now."""
        if not self._is_under_way():
            if self._anew:
                self._spent_s = 0.0
            return False
        return self._spent_s < self._most_s

    def spend(self, seconds: float) -> None:
        """Count real time that it was given (s)."""
        self._spent_s += seconds


class _ServedSelector(TimeSelector):
    """A selector whose time is the world's."""

    def __init__(self, link: WorldLink, now_ns: int) -> None:
        super().__init__()
        self.now_ns = now_ns
        self.contacts: Sequence[RealContact] = ()
        self._link = link
        self._key = self.register(link, selectors.EVENT_READ)
        self._world_is_there = True
        self._passed = 0

    def poll(self, timeout_s: float | None) -> Ready:
        """Wait in real time (s; None is for ever) for the world or something real."""
        ready = super().poll(timeout_s)
        real = [each for each in ready if each[0] is not self._key]
        if len(real) < len(ready) and self._world_is_there:
            self._or_gone(self._link.receive)
        return real

    def pass_time(self, until_ns: int | None) -> Ready:
        if not self._world_is_there:
            return self._end(until_ns)
        ready = self._give_real_time()
        if ready:
            return ready
        wait = self.begin_wait(until_ns, self._link.heard)
        while not self._has_passed(wait):
            ready = self.poll(None)
            if ready:
                self.end_wait(wait)
        return ready

    def begin_wait(self, until_ns: int | None, heard: int | None = None) -> int:
        """Let the world's time go on without this program; return the number of the wait.

        Args:
            until_ns: Until when; None is for ever.
            heard: The world ends the wait at once if it has said more than so many lines:
                an edge that is under way shall not be overtaken by time.
        """
        wait = Wait(self._link.next_id(), until_ns, heard)
        self._or_gone(lambda: self._link.expect(wait))
        return wait.id

    def end_wait(self, wait: int) -> None:
        """Let the world's time stand still again, wherever it is by now."""
        if self._has_passed(wait):
            return
        self._or_gone(lambda: self._link.send(Stay(self._link.next_id())))
        while not self._has_passed(wait):
            self._or_gone(self._link.receive)

    def _has_passed(self, wait: int) -> bool:
        answer = self._link.taken(wait)
        if isinstance(answer, Answer):
            self.now_ns = answer.now_ns
            self._passed = wait
        return self._passed >= wait

    def _give_real_time(self) -> Ready:
        for contact in self.contacts:
            while contact.wants_time():
                began_s = time.monotonic()
                ready = self.poll(LOOK_AGAIN_S)
                contact.spend(time.monotonic() - began_s)
                if ready:
                    return ready
        return []

    def _or_gone(self, act: Callable[[], None]) -> None:
        try:
            act()
        except WorldGone:
            self._world_is_there = False
            self.unregister(self._link)
            raise

    def _end(self, until_ns: int | None) -> Ready:
        """Jump, so that what is closing down need not wait for a world that has gone."""
        ready = self.poll(0 if until_ns is not None else AFTERWARDS_S)
        if not ready and until_ns is None:
            raise WorldGone("time", "the simulated world is no longer served")
        if not ready and until_ns is not None:
            self.now_ns = until_ns
        return ready


class ServedWorld:
    """A station's place in a served world: its machine, clock and time of day.

    Time stands still from here on unless the station waits: in `run`, or in `aside`.

    Args:
        folder: Where the world is served from.
        given: What station files call it: `simulated:` and this.
        name: Of this program, for people.

    Attributes:
        machine: Where devices are opened.
        clock: The world's time, within `run`.
        was_held: Whether time stood still, but for hands, when the place was taken.
        epoch: Time of day at the world's instant 0, ISO 8601: it tells one world from another.

    Raises:
        WorldGone: no world is served there.
    """

    def __init__(self, folder: Path, given: str, name: str) -> None:
        self._link = WorldLink(folder)
        hello = self._link.answer(Hello(self._link.next_id(), name))
        self.was_held = hello.held
        self.epoch = hello.epoch or "2000-01-01T00:00:00+00:00"
        self._selector = _ServedSelector(self._link, hello.now_ns)
        self.clock = VirtualClock()
        self.machine = ServedMachine(self._link, self.clock, served(given))

    def run(self, coroutine: Coroutine[Any, Any, T], contacts: Sequence[RealContact] = ()) -> T:
        """Run a coroutine in the world's time, once, and leave the world.

        Args:
            coroutine: What to run.
            contacts: What is real, and given time to.

        Raises:
            WorldGone: the world is no longer served.
        """
        self._selector.contacts = contacts
        try:
            with asyncio.Runner(
                loop_factory=lambda: VirtualTimeLoop(selector=self._selector)
            ) as runner:
                return runner.run(coroutine)
        finally:
            self._link.close()

    @contextmanager
    def aside(self) -> Iterator[None]:
        """Let the world's time go on without this program: somebody is asked something."""
        wait = self._selector.begin_wait(None)
        try:
            yield
        finally:
            self._selector.end_wait(wait)

    def now_ns(self) -> int:
        """Return the world's time since its beginning (ns)."""
        return self._selector.now_ns

    def time_of_day(self) -> datetime:
        """Return the time of day in the world: that of its beginning, and its own time since."""
        epoch = datetime.fromisoformat(self.epoch)
        return epoch + timedelta(microseconds=self.now_ns() // 1000)
