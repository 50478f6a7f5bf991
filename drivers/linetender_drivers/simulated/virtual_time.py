"""Time that need not be waited for: an event loop that jumps from timer to timer.

Tests and demos run whole hours on it. Its time is an integer of ns from 0 and moves
only where the loop would otherwise wait, so a run depends on nothing but its own
timers: the same program gives the same instants at every speed.

Time stands still while callbacks run: a loop such as `while now < end: await sleep(0)`
never ends here. At speed 0 no thread is waited for while any timer is set. asyncio
counts in float seconds, which hold the ns for about a hundred days.
"""

import asyncio
import selectors
import threading
import time
from abc import abstractmethod
from collections import deque
from collections.abc import Awaitable, Coroutine
from heapq import heappop, heappush
from typing import TYPE_CHECKING, Any, TypeVar, TypeVarTuple

if TYPE_CHECKING:
    from _typeshed import FileDescriptorLike

T = TypeVar("T")
Ts = TypeVarTuple("Ts")

NS_PER_S = 1_000_000_000

PATIENCE_S = 10.0
"""Real time granted to threads that might still wake a loop without timers (chosen:
longer than any call of ours that ends at all, shorter than a test's time limit)."""


_ASK_EVERY = 64
"""A loop that nothing outside can wake asks the system so seldom whether anything is ready:
a thread may have been started, and signals write into a pipe."""


_NEARLY_S = 1e-6
"""A timer of asyncio's that is due so soon after now, or after a sleeper, is left to asyncio,
which rounds: float seconds hold the ns, and no more."""


class NothingLeftToWaitFor(RuntimeError):
    """No timer is set and nothing can wake the loop: it would wait for ever."""


class TimeSelector(selectors.DefaultSelector):
    """A selector that gives a loop its time, and says how time passes while nothing is ready.

    Attributes:
        now_ns: Virtual time in ns.
        loop: The loop that it gives its time to, while that runs.
    """

    def __init__(self) -> None:
        super().__init__()
        self.now_ns = 0
        self.loop: asyncio.AbstractEventLoop | None = None
        # Whether only a thread could make anything ready, and none runs: then to ask the
        # system costs more than all the rest of a turn of the loop.
        self._is_alone = False
        self._asked = 0
        self._sleepers: list[tuple[int, int, asyncio.Future[None]]] = []
        self._slept = 0

    def sleeper(self, at_ns: int) -> asyncio.Future[None]:
        """Return what is done at an instant (ns), before the loop's own timers of that instant.

        Whoever sleeps most, the drivers, would pay most for those.

        Raises:
            RuntimeError: its loop does not run.
        """
        if self.loop is None:
            raise RuntimeError("nobody sleeps where no loop runs")
        sleeper: asyncio.Future[None] = self.loop.create_future()
        self._slept += 1
        heappush(self._sleepers, (at_ns, self._slept, sleeper))
        return sleeper

    def poll(self, timeout_s: float | None) -> list[tuple[selectors.SelectorKey, int]]:
        """Wait in real time (s; None is for ever) for what the loop watches."""
        if timeout_s == 0:
            self._asked += 1
            if self._is_alone and self._asked % _ASK_EVERY:
                return []
            self._is_alone = len(self.get_map()) <= 1 and threading.active_count() == 1
        return super().select(timeout_s)

    def need_not_ask(self) -> bool:
        """Say whether nothing can be ready but what the loop knows; count it as asked."""
        if self._is_alone and (self._asked + 1) % _ASK_EVERY:
            self._asked += 1
            return True
        return False

    def jump_to_sleeper(self, before_s: float | None) -> bool:
        """Let time pass to the next sleeper, if nothing else can come first; say whether it did.

        Args:
            before_s: When the loop's own next timer is due (s), or None.
        """
        return False

    def register(
        self, fileobj: "FileDescriptorLike", events: int, data: Any = None
    ) -> selectors.SelectorKey:
        """Watch a file; see `selectors.BaseSelector`."""
        self._is_alone = False
        return super().register(fileobj, events, data)

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        """Let time pass up to the loop's next timer; see `selectors.BaseSelector`."""
        if timeout is not None and timeout <= 0:
            return self.poll(0)
        until_ns = self._next_sleeper_ns()
        if timeout is not None:
            # Via seconds since the start, as the timer was set: the sum rounds back to the
            # very ns that was asked for, where adding the rounded difference would drift.
            timer_ns = round((self.now_ns / NS_PER_S + timeout) * NS_PER_S)
            until_ns = timer_ns if until_ns is None else min(until_ns, timer_ns)
        ready = self.pass_time(until_ns)
        self._wake_sleepers()
        return ready

    def _next_sleeper_ns(self) -> int | None:
        sleepers = self._sleepers
        while sleepers and sleepers[0][2].done():
            heappop(sleepers)
        return sleepers[0][0] if sleepers else None

    def _wake_sleepers(self) -> None:
        sleepers = self._sleepers
        while sleepers and sleepers[0][0] <= self.now_ns:
            sleeper = heappop(sleepers)[2]
            if not sleeper.done():
                sleeper.set_result(None)

    @abstractmethod
    def pass_time(self, until_ns: int | None) -> list[tuple[selectors.SelectorKey, int]]:
        """Move `now_ns` up to an instant at most (None: no timer); return what became ready."""


class _JumpingSelector(TimeSelector):
    """A selector that moves virtual time instead of, or by as much as, it waits.

    Attributes:
        speed: Virtual seconds per real second; 0 waits for nothing.
    """

    def __init__(self, speed: float) -> None:
        super().__init__()
        self.speed = speed
        self._start_ns = time.monotonic_ns()

    def jump_to_sleeper(self, before_s: float | None) -> bool:
        """See `TimeSelector`: only a loop that waits for nothing jumps."""
        sleepers = self._sleepers
        if self.speed or not sleepers or sleepers[0][2].done():
            return False
        at_ns = sleepers[0][0]
        # A timer of nearly the same instant is left to `select`, which rounds it.
        if before_s is not None and at_ns / NS_PER_S >= before_s - _NEARLY_S:
            return False
        if not self.need_not_ask():
            return False
        self.now_ns = at_ns
        self._wake_sleepers()
        return True

    def pass_time(self, until_ns: int | None) -> list[tuple[selectors.SelectorKey, int]]:
        if until_ns is None:
            return self._wait_for_outside()
        return self._jump(until_ns) if self.speed == 0 else self._pace(until_ns)

    def _jump(self, target_ns: int) -> list[tuple[selectors.SelectorKey, int]]:
        ready = self.poll(0)
        if not ready:
            self.now_ns = target_ns
        return ready

    def _pace(self, target_ns: int) -> list[tuple[selectors.SelectorKey, int]]:
        """Wait until real time has caught up, or something real happens first."""
        due_ns = self._start_ns + round(target_ns / self.speed)
        ready = self.poll(max(0, due_ns - time.monotonic_ns()) / NS_PER_S)
        self._follow_real_time(target_ns)
        return ready

    def _follow_real_time(self, limit_ns: int | None = None) -> None:
        reached_ns = round((time.monotonic_ns() - self._start_ns) * self.speed)
        if limit_ns is not None:
            reached_ns = min(reached_ns, limit_ns)
        self.now_ns = max(self.now_ns, reached_ns)

    def _wait_for_outside(self) -> list[tuple[selectors.SelectorKey, int]]:
        """Wait, without any timer, for a file descriptor or another thread."""
        only_own_wake_up = len(self.get_map()) <= 1
        if not only_own_wake_up or self.speed > 0:
            ready = self.poll(None)
        else:
            ready = self.poll(PATIENCE_S if threading.active_count() > 1 else 0)
            if not ready:
                raise NothingLeftToWaitFor(
                    f"virtual time stands at {self.now_ns} ns: no timer is set and nothing "
                    "else can wake the loop; some task awaits what never comes"
                )
        if self.speed > 0:
            self._follow_real_time()
        return ready


class VirtualTimeLoop(asyncio.SelectorEventLoop):
    """An event loop whose time jumps to the next timer.

    A timer set for an instant sees exactly that instant. With a speed above 0 the loop
    waits until real time, times the speed, has come as far; file descriptors and
    `call_soon_threadsafe` wake it meanwhile. A loop that falls behind catches up without
    skipping an instant.

    Args:
        speed: Virtual seconds per real second, 0 or more; 0 waits for nothing.
        selector: Something else that its time comes from; then there is no speed.

    Attributes:
        selector: What its time comes from.

    Raises:
        ValueError: the speed is negative.
        NothingLeftToWaitFor: raised by running it at speed 0 with no timer set, no file
            descriptor watched and no thread that calls in within 10 s of real time.
    """

    # What asyncio keeps for itself (read in 3.11 and 3.13; the tests compare the order of things).
    _ready: deque[asyncio.Handle]
    _scheduled: list[asyncio.TimerHandle]
    _stopping: bool
    _debug: bool

    def __init__(self, speed: float = 0.0, selector: TimeSelector | None = None) -> None:
        self.selector = _JumpingSelector(speed) if selector is None else selector
        super().__init__(self.selector)
        if speed < 0:
            self.close()
            raise ValueError(f"speed is {speed}; expected 0 (do not wait) or more")

    @property
    def now_ns(self) -> int:
        """Virtual time in ns since the loop was made."""
        return self.selector.now_ns

    def time(self) -> float:
        """Return virtual time in s, for asyncio's own timers."""
        return self.selector.now_ns / NS_PER_S

    def run_forever(self) -> None:
        """Run until it is stopped; see `asyncio.loop.run_forever`."""
        self.selector.loop = self
        try:
            super().run_forever()
        finally:
            self.selector.loop = None

    def _run_once(self) -> None:
        """Do one turn of the loop, as asyncio's own does and in the same order.

        A simulated hour is a quarter of a million turns. Most of them have nothing to ask
        the system and no timer of the loop's own to look after; all others are left to asyncio.
        """
        if not (self._debug or self._stopping) and self._need_not_look_around():
            ready = self._ready
            for _ in range(len(ready)):
                handle = ready.popleft()
                if not handle.cancelled():
                    handle._run()
        else:
            super()._run_once()  # type: ignore[misc]  # private

    def _need_not_look_around(self) -> bool:
        """Whether a turn's callbacks are known, time moved on to the next of them if need be."""
        timers = self._scheduled
        first_s: float | None = None
        if timers:
            first_s = timers[0].when()
            now_s = self.selector.now_ns / NS_PER_S
            # As asyncio does, whose clock has a resolution: what is nearly due is due.
            if first_s <= now_s + _NEARLY_S or timers[0].cancelled():
                return False
        if self._ready:
            return self.selector.need_not_ask()
        return self.selector.jump_to_sleeper(first_s)


class VirtualClock:
    """The clock of the running `VirtualTimeLoop`; a `linetender_drivers.contracts.Clock`.

    Asked a dozen times for each reading, it stays with the loop that it was first asked in
    for as long as that one runs.

    Raises:
        RuntimeError: from every method when no virtual-time loop is running.
    """

    def __init__(self) -> None:
        self._selector: TimeSelector | None = None

    def now_ns(self) -> int:
        """Return virtual time in ns since the loop was made."""
        selector = self._selector
        if selector is None or selector.loop is None:
            selector = self._selector = _running_loop().selector
        return selector.now_ns

    async def sleep(self, seconds: float) -> None:
        """Wait for a duration in s, to the ns; 0 or less only lets others run."""
        await self._instant(self.now_ns() + round(seconds * NS_PER_S))

    async def sleep_until_ns(self, instant_ns: int) -> None:
        """Wait until an instant of virtual time in ns, exactly; let others run at least once."""
        await self._instant(instant_ns)

    def _instant(self, instant_ns: int) -> Awaitable[None]:
        # No coroutine: a sleeper is woken through every one that awaits it.
        if instant_ns > self.now_ns() and self._selector is not None:
            return self._selector.sleeper(instant_ns)
        return asyncio.sleep(0)


def _running_loop() -> VirtualTimeLoop:
    loop = asyncio.get_running_loop()
    if not isinstance(loop, VirtualTimeLoop):
        raise RuntimeError("VirtualClock needs a running VirtualTimeLoop; use run_virtual")
    return loop


def run_virtual(coroutine: Coroutine[Any, Any, T], speed: float = 0.0) -> T:
    """Run a coroutine on a fresh `VirtualTimeLoop` and return its result.

    Args:
        coroutine: What to run.
        speed: Virtual seconds per real second; 0 waits for nothing.

    Raises:
        NothingLeftToWaitFor: at speed 0, when the coroutine awaits what never comes.
    """
    with asyncio.Runner(loop_factory=lambda: VirtualTimeLoop(speed)) as runner:
        return runner.run(coroutine)
