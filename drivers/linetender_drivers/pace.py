"""When to read: a fixed grid of instants, and things done only now and then."""

from linetender_drivers.contracts import Clock

NS_PER_S = 1_000_000_000


class Pace:
    """A fixed grid, so that lateness does not add up; after a gap it starts anew.

    Args:
        clock: Whose time it is.
        period_s: Between two turns, s.
    """

    def __init__(self, clock: Clock, period_s: float) -> None:
        self._clock = clock
        self._period_ns = round(period_s * NS_PER_S)
        self._next_ns = 0

    def start(self) -> None:
        """Make the next turn now."""
        self._next_ns = self._clock.now_ns()

    async def turn(self) -> None:
        """Wait for the next turn."""
        now_ns = self._clock.now_ns()
        if now_ns < self._next_ns:
            await self._clock.sleep((self._next_ns - now_ns) / NS_PER_S)
        elif now_ns - self._next_ns > self._period_ns:
            self._next_ns = now_ns
        self._next_ns += self._period_ns


class Seldom:
    """Something that is due at most once in a while, and at the first time of asking.

    Args:
        clock: Whose time it is.
        period_s: The while, s.
    """

    def __init__(self, clock: Clock, period_s: float) -> None:
        self._clock = clock
        self._period_ns = round(period_s * NS_PER_S)
        self._due_ns: int | None = None

    def is_due(self) -> bool:
        """Whether it is due now; if so, the while begins anew."""
        now_ns = self._clock.now_ns()
        if self._due_ns is not None and now_ns < self._due_ns:
            return False
        self._due_ns = now_ns + self._period_ns
        return True
