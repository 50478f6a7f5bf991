"""Time that several programs share: it moves only while each of them waits for it."""

import asyncio
import selectors
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol

from linetender_drivers.simulated.virtual_time import NS_PER_S, TimeSelector, VirtualTimeLoop

PATIENCE_S = 120.0
"""A station that works for so long in real time without a word is given up (chosen: more than
stations grant to what is real, 60 s)."""

LAG_NS = NS_PER_S // 4
"""At a speed, time that was lost beyond this is not made good (chosen)."""


class Holder(Protocol):
    """One that time stands still for while it works."""

    def give_up(self) -> None:
        """End the connection: it has said nothing for too long."""


class Gate:
    """Who holds the time.

    Args:
        held: Whether it stands still, but for what `passing` lets pass.

    Attributes:
        held: As given; change it at any time.
    """

    def __init__(self, *, held: bool) -> None:
        self.held = held
        self._working: set[Holder] = set()
        self._waiting: dict[Holder, bool] = {}
        self._passing = 0
        self._changed = asyncio.Event()

    @property
    def is_open(self) -> bool:
        """Whether time may move: nobody works, and somebody waits for it to pass."""
        if self._working:
            return False
        if self._passing:
            return True
        return not self.held and any(self._waiting.values())

    @property
    def is_worked_at(self) -> bool:
        """Whether time stands still because somebody works."""
        return bool(self._working)

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self._working) + len(self._waiting)

    def works(self, holder: Holder) -> None:
        """Let time stand still for somebody, who may be new."""
        self._waiting.pop(holder, None)
        self._working.add(holder)
        self._changed.set()

    def waits(self, holder: Holder, *, for_time: bool) -> None:
        """Somebody waits for time to pass, or else has merely nothing to do."""
        self._working.discard(holder)
        self._waiting[holder] = for_time
        self._changed.set()

    def leave(self, holder: Holder) -> None:
        """Somebody has gone, and holds nothing any more."""
        self._working.discard(holder)
        self._waiting.pop(holder, None)
        self._changed.set()

    def give_up(self) -> None:
        """Give up all who work: they have said nothing for too long."""
        for holder in tuple(self._working):
            self.leave(holder)
            holder.give_up()

    @contextmanager
    def passing(self) -> Iterator[None]:
        """Let time pass while the context lasts, though it is held or nobody waits for it."""
        self._passing += 1
        try:
            yield
        finally:
            self._passing -= 1

    async def settled(self) -> None:
        """Wait in real time until all have done what there is to do at this instant."""
        while self._working:
            self._changed.clear()
            await self._changed.wait()

    async def joined(self, count: int) -> None:
        """Wait in real time until there are so many."""
        while self.count < count:
            self._changed.clear()
            await self._changed.wait()


class _GatedSelector(TimeSelector):
    """A selector whose time moves only while the gate is open."""

    def __init__(self, gate: Gate, speed: float) -> None:
        super().__init__()
        self._gate = gate
        self._speed = speed
        self._from_ns = 0
        self._from_real_ns = time.monotonic_ns()

    def pass_time(self, until_ns: int | None) -> list[tuple[selectors.SelectorKey, int]]:
        if until_ns is None or not self._gate.is_open:
            return self._stand_still()
        if self._speed > 0:
            return self._pace(until_ns)
        ready = self.poll(0)
        if not ready:
            self.now_ns = until_ns
        return ready

    def _stand_still(self) -> list[tuple[selectors.SelectorKey, int]]:
        ready = self.poll(PATIENCE_S if self._gate.is_worked_at else None)
        if not ready:
            self._gate.give_up()
        return ready

    def _pace(self, until_ns: int) -> list[tuple[selectors.SelectorKey, int]]:
        """Wait until real time, times the speed, has come as far, or something comes."""
        real_ns = time.monotonic_ns()
        reached_ns = self._reached_ns(real_ns)
        if reached_ns - self.now_ns > LAG_NS:
            self._from_ns, self._from_real_ns = self.now_ns, real_ns
            reached_ns = self.now_ns
        ready = self.poll(max(0.0, (until_ns - reached_ns) / self._speed / NS_PER_S))
        reached_ns = self._reached_ns(time.monotonic_ns())
        self.now_ns = max(self.now_ns, min(until_ns, reached_ns))
        return ready

    def _reached_ns(self, real_ns: int) -> int:
        return self._from_ns + round((real_ns - self._from_real_ns) * self._speed)


class GatedLoop(VirtualTimeLoop):
    """An event loop whose time moves only while the gate is open.

    Args:
        gate: Who holds the time.
        speed: Simulated seconds per real second at most; 0 waits for nothing.
    """

    def __init__(self, gate: Gate, speed: float = 0.0) -> None:
        super().__init__(selector=_GatedSelector(gate, speed))
